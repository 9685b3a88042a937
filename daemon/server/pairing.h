// Pairing: the devices of the player that connect over the network: their tokens, the port for them, and the
// code that a tablet reads with its camera.
//
//   pairing.begin();                        // reads the devices; opens their port if it was left open
//   pairing.pair("music desk", answer);     // a token and its code
//   const Shown shown = pairing.show(token, address);
//
// The port is closed until the player opens it, and stays as it was left over a restart. Everyone needs a
// token there, also a program of this machine. What is kept is in one folder: "paired.json" (device_book.h)
// and "tls.pem" (tls_identity.h), both with mode 0600.
//
// Units: UtcMs for what is kept; a monotonic clock for the waits after wrong tokens.
// Threads: the io thread; files are written on the thread behind `aside`, which must have stopped before this
// object is destroyed.
// Errors: one sentence. Wrong tokens are written to the log, one line each, without the token.
// Source: none needed.
#pragma once

#include <boost/asio/io_context.hpp>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/aside.h"
#include "daemon/server/addresses.h"
#include "daemon/server/device_book.h"
#include "daemon/server/token_brake.h"
#include "daemon/server/web_listener.h"
#include "protocol/device_messages.h"

namespace undersong::server {

struct PairingOptions {
  std::filesystem::path folder;   // made with the first device
  std::optional<WebOptions> web;  // the port for devices; empty: there is none
  bool tls = false;               // TLS on every port that other machines can reach
  std::string token;              // of the configuration; "" if there is none
  // For tests: the addresses of the machine, the time of day, and a monotonic clock.
  std::function<std::vector<std::string>()> addresses = machine_addresses;
  std::function<UtcMs()> utc = [] {
    return std::chrono::duration_cast<UtcMs>(std::chrono::system_clock::now().time_since_epoch());
  };
  std::function<TokenBrake::Clock()> clock = [] {
    return std::chrono::duration_cast<TokenBrake::Clock>(std::chrono::steady_clock::now().time_since_epoch());
  };
};

class Pairing {
 public:
  template <class T>
  using Answer = std::function<void(Result<T>)>;

  // The arguments must outlive this object. `main`: the other web port.
  Pairing(boost::asio::io_context& io, PairingOptions options, std::optional<WebOptions> main, Aside aside,
          Publisher& publisher, MakeSession make_session);

  // What was kept, and the port if it is to be open. What fails is written to the log. May wait for the disk.
  void begin();
  // Closes the port, and writes what was not written yet.
  void stop();
  // For a port that other machines can reach; null without `tls`. May wait for the disk.
  Result<std::shared_ptr<Tls>> tls();
  // The other web port listens here; needed if other machines can reach it.
  void main_listens(std::uint16_t port) { main_port_ = port; }

  Shown show(std::string_view token, const std::string& address);
  // A connection of this device has ended.
  void left(DeviceNumber device);

  void open(bool on, Answer<protocol::DeviceList> answer);
  void pair(const std::string& name, Answer<protocol::PairingCode> answer);
  void revoke(DeviceNumber device, Answer<protocol::DeviceList> answer);
  protocol::DeviceList list();
  std::string fingerprint() const { return tls_ ? tls_->fingerprint() : std::string(); }
  std::uint16_t port() const { return listener_ ? listener_->port() : std::uint16_t{0}; }

 private:
  using Saved = std::function<void(const Result<void>&)>;

  std::filesystem::path file() const { return options_.folder / "paired.json"; }
  void read();
  Result<void> listen(std::shared_ptr<Tls> tls);
  Tls::Options tls_options() const;
  // Where other devices find the page, the likeliest first.
  std::vector<std::string> places() const;
  protocol::PairedDevice device_of(const Device& device) const;
  void opened(Result<std::shared_ptr<Tls>> tls, const Answer<protocol::DeviceList>& answer);
  // Writes the book and then calls `saved`, on the io thread.
  void save(Saved saved);
  void write();

  boost::asio::io_context& io_;
  const PairingOptions options_;
  const std::optional<WebOptions> main_;
  const Aside aside_;
  Publisher& publisher_;
  const MakeSession make_session_;
  DeviceBook book_;
  TokenBrake brake_;
  std::shared_ptr<Tls> tls_;
  std::unique_ptr<WebListener> listener_;  // null while the port is closed
  std::uint16_t main_port_ = 0;
  std::optional<std::string> trouble_;  // why the port is not open although it should be
  std::vector<Saved> unsaved_;          // to be called after the next write
  bool writing_ = false, dirty_ = false;
};

}  // namespace undersong::server
