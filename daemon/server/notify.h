// Reports the daemon's state to the service manager with the datagram of sd_notify, without its library.
//
//   notify_service_manager("READY=1");
//
// Does nothing if $NOTIFY_SOCKET is not set.
//
// Threads: any.
// Errors: false if nothing was sent.
// Source: sd_notify(3), sd_watchdog_enabled(3). A socket name that begins with "@" is in the abstract
// namespace.
#pragma once

#include <chrono>
#include <optional>
#include <string_view>

namespace undersong::server {

// `state`: lines such as "READY=1", "STOPPING=1" or "STATUS=...".
bool notify_service_manager(std::string_view state);
// How often "WATCHDOG=1" is to be sent: half the time after which the service manager takes this process for
// stuck. nullopt if it does not watch.
std::optional<std::chrono::microseconds> watchdog_interval();
// Sends "RELOADING=1" with the time that it requires. Send "READY=1" when the reload is done.
bool notify_reloading();

}  // namespace undersong::server
