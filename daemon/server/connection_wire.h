// Makes the messages about the connection and the state of the daemon: the greeting, the status, the places.
//
// Threads: the io thread, because `status_message` reads the stage.
// Errors: none; all functions are total.
#pragma once

#include <string>

#include "daemon/server/buffer.h"
#include "daemon/server/places.h"
#include "daemon/server/visitor.h"
#include "daemon/takes/store.h"

namespace undersong::protocol {
struct Places;
struct Welcome;
}  // namespace undersong::protocol
namespace undersong::live {
class Stage;
}

namespace undersong::server {

protocol::Welcome welcome_of(const std::string& program_version, const Visitor& visitor);
// The notification that opens every connection.
Buffer welcome_message(const std::string& program_version, const Visitor& visitor);
// The current status, as a notification.
Buffer status_message(live::Stage& stage, const takes::Health& store, takes::LineNumber log_end);
protocol::Places places_of(const Places& places);

}  // namespace undersong::server
