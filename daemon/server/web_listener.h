// The web port: the companion page over HTTP, and the protocol over a WebSocket at /socket.
//
// Beast stays in the .cpp. Threads: the io thread.
#pragma once

#include <boost/asio/io_context.hpp>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/server/socket_listener.h"

namespace undersong::server {

struct WebOptions {
  std::string address = "127.0.0.1";
  std::uint16_t port = 0;               // 0: any that is free
  std::filesystem::path page_folder;    // may be missing: then a short page says so
  std::string token;                    // REQUIRED beyond loopback
  std::vector<std::string> more_hosts;  // names under which we are reached beyond loopback, without port
};

class WebListener {
 public:
  WebListener(boost::asio::io_context& io, MakeSession make_session);
  ~WebListener();
  Result<void> listen(WebOptions options);
  std::uint16_t port() const;
  void stop();

 private:
  struct Impl;
  std::shared_ptr<Impl> impl_;
};

}  // namespace undersong::server
