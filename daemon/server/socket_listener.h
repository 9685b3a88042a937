// The Unix socket: newline-delimited messages from programs of the same user.
//
// The directory is made 0700 and the socket 0600. A lock file beside the socket is held while we listen, so
// that of two daemons that start at once one gives way; a socket that nobody answers at is removed. Threads:
// the io thread.
#pragma once

#include <boost/asio/io_context.hpp>
#include <filesystem>
#include <functional>
#include <memory>

#include "daemon/base/result.h"
#include "daemon/server/session.h"

namespace undersong::server {

inline constexpr std::size_t kMostMessageBytes = 64u << 10;  // to us

// Makes the session of a new client; null when there are too many.
using MakeSession = std::function<std::shared_ptr<Session>(bool trusted)>;

class SocketListener {
 public:
  SocketListener(boost::asio::io_context& io, MakeSession make_session);
  ~SocketListener();
  // kConflict: another daemon answers there.
  Result<void> listen(const std::filesystem::path& path);
  void stop();

 private:
  struct Impl;
  std::shared_ptr<Impl> impl_;
};

}  // namespace undersong::server
