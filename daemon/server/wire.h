// Writes what the daemon knows as the JSON of the protocol: moments, statuses, log lines, summaries and
// details of takes.
//
// A moment is written straight into one string, without a tree or protocol structs, because this happens
// between a key press and the screen. A test compares the text with protocol::Moment.
//
// Units: as in protocol/shapes.h.
// Threads: functions without state; call them from any thread. A ListText belongs to one caller.
// Errors: none. A log line that cannot be read is sent as it was stored.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "daemon/listen/moment.h"
#include "daemon/server/buffer.h"
#include "daemon/takes/search.h"

namespace undersong::protocol {
struct BeatNow;
struct TimeSignature;
struct Status;
struct TakeContent;
struct TakeDetail;
struct TakeSummary;
struct TimeSignature;
}  // namespace undersong::protocol

namespace undersong::server {

// The text of a list of alternatives, kept because most moments have the same list as the one before.
struct ListText {
  std::uint32_t number = 0;    // of the list; 0 before the first
  harmony::MelodyNames names;  // of the melody notes it was made for
  std::string text;            // keeps its capacity
  std::size_t size = 0;
  std::uint32_t returned_number = 0;  // of Moment::returned; 0 before the first
  std::string returned;
  std::string_view written() const { return std::string_view(text).substr(0, size); }
};
// Moments must come from one analysis, in order, with the same `list`; the function updates it.
Buffer moment_message(const listen::Moment& moment, ListText& list);
Buffer moment_message(const listen::Moment& moment);
Buffer status_message(const protocol::Status& status);
Buffer log_message(const takes::Line& line);
// The params, as text, of a message made by one of these functions.
std::string_view params_of(const std::string& message);

// Appends a log line as a JSON object.
void append_line(std::string& out, const takes::Line& line);
protocol::TakeContent content_of(const takes::TakeContent& content);
protocol::TakeSummary summary_of(const takes::Summary& summary);
protocol::TakeDetail detail_of(const takes::Detail& detail);

protocol::BeatNow beat_of(const listen::BeatNow& beat);
protocol::TimeSignature signature_of(int meter, const harmony::FeelNow& feel, double seconds_a_beat);

}  // namespace undersong::server
