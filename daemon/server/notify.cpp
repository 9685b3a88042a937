#include "daemon/server/notify.h"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <cstddef>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <string>

namespace undersong::server {

bool notify_service_manager(std::string_view state) {
  const char* name = std::getenv("NOTIFY_SOCKET");
  if (name == nullptr || (name[0] != '/' && name[0] != '@')) return false;
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  const std::size_t length = std::strlen(name);
  if (length < 2 || length >= sizeof address.sun_path) return false;
  std::memcpy(address.sun_path, name, length);
  if (address.sun_path[0] == '@') address.sun_path[0] = '\0';
  const int descriptor = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  if (descriptor < 0) return false;
  const auto size = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + length);
  const ssize_t sent = ::sendto(descriptor, state.data(), state.size(), MSG_NOSIGNAL,
                                reinterpret_cast<const sockaddr*>(&address), size);
  ::close(descriptor);
  return sent == static_cast<ssize_t>(state.size());
}

std::optional<std::chrono::microseconds> watchdog_interval() {
  const auto number = [](const char* name) {
    const char* text = std::getenv(name);
    return text == nullptr ? 0LL : std::strtoll(text, nullptr, 10);
  };
  const long long after = number("WATCHDOG_USEC"), whom = number("WATCHDOG_PID");
  if (after < 2 || (whom != 0 && whom != ::getpid())) return std::nullopt;
  return std::chrono::microseconds(after / 2);
}

bool notify_reloading() {
  timespec now{};
  ::clock_gettime(CLOCK_MONOTONIC, &now);
  const auto micros = static_cast<long long>(now.tv_sec) * 1'000'000 + now.tv_nsec / 1000;
  return notify_service_manager("RELOADING=1\nMONOTONIC_USEC=" + std::to_string(micros));
}

}  // namespace undersong::server
