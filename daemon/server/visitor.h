// Visitor: who connected, as the listeners know it. Shown: what a token was worth.
//
// Units: `wait` in milliseconds.
// Threads: plain values.
// Errors: none.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace undersong::server {

struct Visitor {
  bool trusted = false;  // needs no token any more
  // The player at this machine: by the Unix socket, or by the page at the loopback port. Only they may pair
  // devices.
  bool local = false;
  std::optional<std::uint64_t> device;  // the paired device whose token was shown
  std::string address;                  // "" on the Unix socket
  bool by_devices_port = false;         // ends when that port is closed
};

struct Shown {
  // kWait: the address was wrong too often; the token was not looked at.
  enum class Kind : std::uint8_t { kRight, kWrong, kWait } kind = Kind::kWrong;
  std::optional<std::uint64_t> device{};  // none: the token of the configuration
  std::chrono::milliseconds wait{0};      // until the next try
};

// What to tell somebody who must wait.
inline std::string wait_sentence(const Shown& shown) {
  const auto seconds = std::chrono::ceil<std::chrono::seconds>(shown.wait).count();
  return "Too many wrong tokens came from your address: try again in " + std::to_string(seconds) + " s.";
}

// Called on the io thread with a token and the address that it came from.
using ShowToken = std::function<Shown(std::string_view token, const std::string& address)>;

}  // namespace undersong::server
