// SocketListener: the Unix socket, where programs of the same user send messages, one per line.
//
// The socket has mode 0600. A missing folder is created with mode 0700; an existing one is never changed, but
// refused if another user could replace the socket in it. A lock file beside the socket is held while we
// listen, so that only one of two daemons that start at the same time continues. A socket that nobody answers
// at is removed.
//
//   SocketListener listener(io, make_session);
//   if (auto listening = listener.listen(path); !listening) ...;
//
// Threads: the io thread; `make_session` is called there.
// Errors: one sentence; kConflict if another daemon answers at the path.
#pragma once

#include <boost/asio/io_context.hpp>
#include <filesystem>
#include <functional>
#include <memory>

#include "daemon/base/result.h"
#include "daemon/server/session.h"

namespace undersong::server {

inline constexpr std::size_t kMostMessageBytes = 64u << 10;  // of one received message

// Called on the io thread; makes the session of a new client. Null if there are too many clients.
using MakeSession = std::function<std::shared_ptr<Session>(Visitor visitor)>;

class SocketListener {
 public:
  SocketListener(boost::asio::io_context& io, MakeSession make_session);
  ~SocketListener();
  // Opens the socket and accepts clients.
  Result<void> listen(const std::filesystem::path& path);
  // Stops accepting clients and removes the socket. Sessions go on.
  void stop();

 private:
  struct Impl;
  std::shared_ptr<Impl> impl_;
};

}  // namespace undersong::server
