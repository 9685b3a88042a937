#include "daemon/server/device_book.h"

#include <openssl/crypto.h>
#include <openssl/sha.h>
#include <sys/random.h>

#include <algorithm>
#include <utility>

#include "protocol/base64.h"
#include "protocol/json.h"

namespace undersong::server {

// The layout of the file.
struct KeptDevice {
  DeviceNumber number = 0;
  std::string name, sha256;
  std::int64_t made_utc_ms = 0;
  std::optional<std::int64_t> seen_utc_ms{};
};
BOOST_DESCRIBE_STRUCT(KeptDevice, (), (number, name, sha256, made_utc_ms, seen_utc_ms))
struct KeptBook {
  bool open = false;
  DeviceNumber last = 0;
  std::vector<KeptDevice> devices;
};
BOOST_DESCRIBE_STRUCT(KeptBook, (), (open, last, devices))

namespace {

constexpr std::size_t kTokenBytes = 18;

std::string trimmed(std::string text) {
  const auto begin = text.find_first_not_of(' ');
  if (begin == std::string::npos) return {};
  return text.substr(begin, text.find_last_not_of(' ') - begin + 1);
}

}  // namespace

Result<std::string> make_token() {
  std::array<std::uint8_t, kTokenBytes> bytes{};
  if (::getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size()))
    return unavailable("The system gives no random numbers for a token.");
  std::string text = protocol::base64(bytes);
  std::replace(text.begin(), text.end(), '+', '-');
  std::replace(text.begin(), text.end(), '/', '_');
  return text;
}

TokenHash hash_of(std::string_view token) {
  TokenHash hash{};
  SHA256(reinterpret_cast<const unsigned char*>(token.data()), token.size(), hash.data());
  return hash;
}

Result<DeviceBook> DeviceBook::read(std::string_view text, std::string_view name) {
  const auto kept = protocol::read_text<KeptBook>(text, name);
  if (!kept) return invalid_input(std::string(name) + ": " + kept.error().sentence);
  DeviceBook book;
  book.open = kept->open;
  book.last_ = kept->last;
  for (const KeptDevice& each : kept->devices) {
    const auto hash = protocol::from_base64(each.sha256);
    if (!hash || hash->size() != std::tuple_size_v<TokenHash>)
      return invalid_input(std::string(name) + ": the sha256 of the device \"" + each.name +
                           "\" is not one.");
    Device device{each.number, each.name, {}, UtcMs(each.made_utc_ms), std::nullopt};
    std::copy(hash->begin(), hash->end(), device.hash.begin());
    if (each.seen_utc_ms) device.seen = UtcMs(*each.seen_utc_ms);
    book.last_ = std::max(book.last_, device.number);
    book.devices_.push_back(std::move(device));
  }
  return book;
}

std::string DeviceBook::text() const {
  KeptBook kept{open, last_, {}};
  for (const Device& each : devices_) {
    KeptDevice device{each.number, each.name, protocol::base64(each.hash), each.made.count(), std::nullopt};
    if (each.seen) device.seen_utc_ms = each.seen->count();
    kept.devices.push_back(std::move(device));
  }
  return protocol::to_json(kept) + "\n";
}

Result<Device> DeviceBook::add(std::string name, std::string_view token, UtcMs now) {
  if (devices_.size() >= kMostDevices)
    return Error{ErrorCode::kExhausted, "There are " + std::to_string(kMostDevices) +
                                            " paired devices already; revoke one that is no longer used."};
  name = trimmed(std::move(name));
  if (name.empty()) name = "Device " + std::to_string(last_ + 1);
  if (name.size() > kLongestName)
    return invalid_input("The name of a device has at most " + std::to_string(kLongestName) + " bytes.");
  if (std::any_of(name.begin(), name.end(), [](unsigned char c) { return c < 0x20 || c == 0x7f; }))
    return invalid_input("The name of a device holds no control characters.");
  if (std::any_of(devices_.begin(), devices_.end(), [&](const Device& each) { return each.name == name; }))
    return Error{ErrorCode::kConflict, "A device named \"" + name +
                                           "\" is paired already; revoke it first, or choose another name."};
  devices_.push_back({++last_, std::move(name), hash_of(token), now, std::nullopt});
  return devices_.back();
}

bool DeviceBook::remove(DeviceNumber number) {
  return std::erase_if(devices_, [&](const Device& each) { return each.number == number; }) != 0;
}

std::optional<DeviceNumber> DeviceBook::find(std::string_view token) const {
  const TokenHash hash = hash_of(token);
  std::optional<DeviceNumber> found;
  for (const Device& each : devices_)  // all of them, however early one fits
    if (CRYPTO_memcmp(each.hash.data(), hash.data(), hash.size()) == 0) found = each.number;
  return found;
}

void DeviceBook::seen(DeviceNumber number, UtcMs now) {
  for (Device& each : devices_)
    if (each.number == number) each.seen = now;
}

bool DeviceBook::forget_unused(UtcMs now) {
  return std::erase_if(devices_,
                       [&](const Device& each) { return !each.seen && now - each.made >= kCodeLasts; }) != 0;
}

}  // namespace undersong::server
