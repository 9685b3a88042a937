// From what the daemon knows to the protocol's JSON.
//
// The moment is written straight into one string, without a tree or protocol structs in between, because this happens
// between a key press and the screen; a test holds the text against protocol::Moment.
// Threads: pure functions.
#pragma once

#include <memory>
#include <string>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/moment.h"
#include "daemon/takes/search.h"
#include "protocol/messages.h"

namespace undersong::server {

// A message ready to be sent, newline at the end, shared by all who get it.
using Buffer = std::shared_ptr<const std::string>;

Buffer moment_message(const listen::Moment& moment, harmony::SymbolStyle style);
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
