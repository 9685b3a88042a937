// Messages about other devices of the player, such as a tablet on the music desk, which connect over the
// network with a token of their own. How to add one: see messages.h.
//
// Units and ranges: see shapes.h.
// Threads: plain values.
// Errors: a reader refuses params that do not fit and names the member; see json.h and rpc_code.h.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "protocol/shapes.h"

namespace undersong::protocol {

struct PairedDevice {
  static constexpr const char* kSays =
      "`device`: its number, which is never used again. `seen_utc_ms`: when it was connected last, null if "
      "never.";
  std::uint64_t device = 0;
  std::string name;
  TimeUtcMs made_utc_ms = 0;
  Nullable<TimeUtcMs> seen_utc_ms;
  bool connected = false;
};
BOOST_DESCRIBE_STRUCT(PairedDevice, (), (device, name, made_utc_ms, seen_utc_ms, connected))

struct DeviceList {
  static constexpr const char* kSays =
      "`open`: the port for devices is to be open, also after a restart. `trouble`: why it is not, although "
      "it should be. `addresses`: where the page is for other devices, the likeliest first; empty while only "
      "this machine can reach it. `tls`: those addresses are https. `fingerprint`: SHA-256 of the "
      "certificate they show; null without TLS.";
  bool open = false, tls = false;
  std::optional<std::string> trouble{};
  std::vector<std::string> addresses;
  Nullable<std::string> fingerprint;
  std::vector<PairedDevice> devices;
};
BOOST_DESCRIBE_STRUCT(DeviceList, (), (open, tls, trouble, addresses, fingerprint, devices))

struct PairingCode {
  static constexpr const char* kSays =
      "`address`: what the code says: the likeliest of `addresses`, with the token behind #pair=. `rows`: "
      "the code as a square QR code, one text for each row, 1 dark and 0 light; a margin of four light "
      "modules must be drawn around it. The code must be used before `until_utc_ms`.";
  PairedDevice device;
  std::string address, token;
  std::vector<std::string> addresses;
  Nullable<std::string> fingerprint;
  std::vector<std::string> rows;
  TimeUtcMs until_utc_ms = 0;
};
BOOST_DESCRIBE_STRUCT(PairingCode, (), (device, address, token, addresses, fingerprint, rows, until_utc_ms))

struct PairDevice {
  static constexpr const char* kMethod = "device.pair";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Makes a token for another device, and the code that carries it there. The token is said only here. "
      "Only the player at this machine may ask.";
  static constexpr const char* kExample = R"({"name":"music desk"})";
  static constexpr const char* kReplyExample =
      R"({"device":{"device":1,"name":"music desk","made_utc_ms":1790000000000,"seen_utc_ms":null,"connected":false},"address":"http://192.168.1.20:8345/#pair=3q2-7wAAq83vEjRWeJCrze8B","token":"3q2-7wAAq83vEjRWeJCrze8B","addresses":["http://192.168.1.20:8345/"],"fingerprint":null,"rows":["101","010","101"],"until_utc_ms":1790000900000})";
  static constexpr bool kLocalOnly = true;
  using Reply = PairingCode;
  std::optional<std::string> name{};
};
BOOST_DESCRIBE_STRUCT(PairDevice, (), (name))

struct ListDevices {
  static constexpr const char* kMethod = "device.list";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "The paired devices, and where they reach this machine. Only the player at this machine may ask.";
  static constexpr const char* kExample = "{}";
  static constexpr const char* kReplyExample =
      R"({"open":true,"tls":false,"addresses":["http://192.168.1.20:8345/"],"fingerprint":null,"devices":[{"device":1,"name":"music desk","made_utc_ms":1790000000000,"seen_utc_ms":1790000060000,"connected":true}]})";
  static constexpr bool kLocalOnly = true;
  using Reply = DeviceList;
};
BOOST_DESCRIBE_STRUCT(ListDevices, (), ())

struct OpenDevices {
  static constexpr const char* kMethod = "device.open";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Opens or closes the port for other devices. It stays so over a restart. Closing ends their "
      "connections; they stay paired. Only the player at this machine may ask.";
  static constexpr const char* kExample = R"({"on":true})";
  static constexpr const char* kReplyExample =
      R"({"open":true,"tls":false,"addresses":["http://192.168.1.20:8345/"],"fingerprint":null,"devices":[]})";
  static constexpr bool kLocalOnly = true;
  using Reply = DeviceList;
  bool on = false;
};
BOOST_DESCRIBE_STRUCT(OpenDevices, (), (on))

struct RevokeDevice {
  static constexpr const char* kMethod = "device.revoke";
  static constexpr bool kJoined = true;
  static constexpr const char* kSays =
      "Forgets a device: its token is no longer accepted, and its connections are closed at once. Only the "
      "player at this machine may ask.";
  static constexpr const char* kExample = R"({"device":1})";
  static constexpr const char* kReplyExample =
      R"({"open":true,"tls":false,"addresses":["http://192.168.1.20:8345/"],"fingerprint":null,"devices":[]})";
  static constexpr bool kLocalOnly = true;
  using Reply = DeviceList;
  std::uint64_t device = 0;
};
BOOST_DESCRIBE_STRUCT(RevokeDevice, (), (device))

}  // namespace undersong::protocol
