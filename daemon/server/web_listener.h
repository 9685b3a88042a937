// WebListener: a web port. It serves the companion page over HTTP or HTTPS, and the protocol over a WebSocket
// at /socket.
//
//   WebListener web(io, make_session, show_token);
//   if (auto listening = web.listen({.port = 8344, .page_folder = folder}); !listening) ...;
//
// Only the .cpp includes Beast, which is slow to compile. With TLS, a request that comes without it is sent
// on to the same address with https.
//
// Threads: the io thread; `make_session` and `show_token` are called there.
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
#include "daemon/server/tls.h"
#include "daemon/server/visitor.h"

namespace undersong::server {

struct WebOptions {
  std::string address = "127.0.0.1";
  std::uint16_t port = 0;               // 0: any free port
  std::filesystem::path page_folder;    // if it is missing, a short page says so
  std::vector<std::string> more_hosts;  // more names by which others reach us, without port
  std::shared_ptr<Tls> tls;             // if there is one, only TLS is spoken
  bool for_devices = false;             // the port for paired devices: everyone needs a token, also from here
};

class WebListener {
 public:
  WebListener(boost::asio::io_context& io, MakeSession make_session, ShowToken show_token);
  ~WebListener();
  Result<void> listen(WebOptions options);
  std::uint16_t port() const;
  // Accepts nobody any more and ends connections that are no WebSocket.
  void stop();

 private:
  struct Impl;
  std::shared_ptr<Impl> impl_;
};

}  // namespace undersong::server
