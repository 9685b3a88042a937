// WebListener: the web port. It serves the companion page over HTTP, and the protocol over a WebSocket at
// /socket.
//
//   WebListener web(io, make_session);
//   if (auto listening = web.listen({.port = 8344, .page_folder = folder}); !listening) ...;
//
// Only the .cpp includes Beast, which is slow to compile.
//
// Threads: the io thread; `make_session` is called there.
// Errors: `listen` returns one sentence; kConflict if another program uses the port. Requests are answered
// with an HTTP status and one sentence.
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
  std::uint16_t port = 0;               // 0: any free port
  std::filesystem::path page_folder;    // if it is missing, a short page says so
  std::string token;                    // required if `address` is not a loopback address
  std::vector<std::string> more_hosts;  // more names by which others reach us, without port
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
