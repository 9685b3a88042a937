// What a connection is greeted with, and the daemon's state, as messages.
//
// Threads: the io thread. Errors: none.
#pragma once

#include <string>

#include "daemon/server/buffer.h"
#include "daemon/server/places.h"
#include "daemon/takes/store.h"

namespace undersong::protocol {
struct Places;
struct Welcome;
}  // namespace undersong::protocol
namespace undersong::live {
class Stage;
}

namespace undersong::server {

protocol::Welcome welcome_of(const std::string& program_version, bool token_needed);
// The same as the first message of a connection.
Buffer welcome_message(const std::string& program_version, bool token_needed);
// The state now, as a notification.
Buffer status_message(live::Stage& stage, const takes::Health& store, takes::LineNumber log_end);
protocol::Places places_of(const Places& places);

}  // namespace undersong::server
