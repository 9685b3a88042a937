// Telling the service manager how we are: the datagram of sd_notify, without its library.
//
// Does nothing when $NOTIFY_SOCKET is unset. Threads: any.
// Source: sd_notify(3); a name that begins with "@" is in the abstract namespace.
#pragma once

#include <string_view>

namespace undersong::server {

// `state`: lines as "READY=1", "STOPPING=1", "STATUS=...". True if it was sent.
bool notify_service_manager(std::string_view state);
// "RELOADING=1" with the time it wants; send "READY=1" when it is done.
bool notify_reloading();

}  // namespace undersong::server
