// From what the daemon knows to the protocol's JSON.
//
// The moment is written straight into one string, without a tree or protocol structs in between, because this
// happens between a key press and the screen; a test holds the text against protocol::Moment. Threads: pure
// functions.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "daemon/listen/moment.h"
#include "daemon/takes/search.h"
#include "protocol/messages.h"

namespace undersong::server {

// A message ready to be sent, newline at the end, shared by all who get it.
using Buffer = std::shared_ptr<const std::string>;

// The text of a list of alternatives; most moments have the list of the one before.
struct ListText {
  std::uint32_t number = 0;  // of the list; 0 before the first
  std::optional<harmony::Chord> previous;
  harmony::MelodyNames names;  // of the notes it stands under
  std::string text;            // room that is kept
  std::size_t size = 0;
  std::string_view written() const { return std::string_view(text).substr(0, size); }
};
// `list` is that of the same analysis' earlier moment and becomes this one's.
Buffer moment_message(const listen::Moment& moment, ListText& list);
Buffer moment_message(const listen::Moment& moment);
Buffer status_message(const protocol::Status& status);
Buffer log_message(const takes::Line& line);
// The params of a message made by one of these, as text.
std::string_view params_of(const std::string& message);

// The object of a log line.
void append_line(std::string& out, const takes::Line& line);
protocol::TakeSummary summary_of(const takes::Summary& summary);
protocol::TakeDetail detail_of(const takes::Detail& detail);

protocol::BeatNow beat_of(const listen::BeatNow& beat);

}  // namespace undersong::server
