// DeviceBook: the paired devices, and whether the port for them is to be open. It is kept as a file of JSON.
//
//   auto added = book.add("music desk", token, now);
//   if (const auto device = book.find(shown)) ...;
//
// Only the SHA-256 of a token is kept, so who reads the file cannot connect. A token has 144 random bits;
// guessing is hopeless, and a slow hash would add nothing. A device that never used its code is forgotten
// after kCodeLasts.
//
// Units: milliseconds since 1970, UTC.
// Threads: plain values; make_token may be called from any thread.
// Errors: one sentence.
// Source: SHA-256 is FIPS 180-4 (NIST 2015), by OpenSSL; base64url is RFC 4648, section 5.
#pragma once

#include <array>
#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/result.h"

namespace undersong::server {

using UtcMs = std::chrono::milliseconds;  // since 1970
using DeviceNumber = std::uint64_t;
using TokenHash = std::array<std::uint8_t, 32>;

// 24 letters of base64url: 144 bits from the system's random source. Error if it gives none.
Result<std::string> make_token();
TokenHash hash_of(std::string_view token);

struct Device {
  DeviceNumber number = 0;
  std::string name;
  TokenHash hash{};
  UtcMs made{0};
  std::optional<UtcMs> seen;  // connected last
};

class DeviceBook {
 public:
  static constexpr std::size_t kMostDevices = 32;
  static constexpr std::size_t kLongestName = 60;  // bytes
  static constexpr UtcMs kCodeLasts = std::chrono::minutes(15);

  // The text of the file. `name` is the file's name in errors.
  static Result<DeviceBook> read(std::string_view text, std::string_view name);
  std::string text() const;

  // Adds a device. An empty name becomes "Device N". Error for a name that is taken, too long or holds
  // control characters, and when there are kMostDevices.
  Result<Device> add(std::string name, std::string_view token, UtcMs now);
  // False if there is no such device.
  bool remove(DeviceNumber number);
  // The device with this token. The time it takes does not depend on the token.
  std::optional<DeviceNumber> find(std::string_view token) const;
  void seen(DeviceNumber number, UtcMs now);
  // Removes devices that did not use their code in time. Returns whether there were any.
  bool forget_unused(UtcMs now);

  const std::vector<Device>& devices() const { return devices_; }
  bool open = false;  // the port for devices is to be open

 private:
  std::vector<Device> devices_;  // by number
  DeviceNumber last_ = 0;        // the greatest number ever given
};

}  // namespace undersong::server
