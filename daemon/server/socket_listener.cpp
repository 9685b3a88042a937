#include "daemon/server/socket_listener.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <boost/asio/buffer.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <cstring>

#include "daemon/base/private_folder.h"
#include "daemon/server/rpc.h"

namespace undersong::server {
namespace {

namespace asio = boost::asio;
namespace fs = std::filesystem;
using Local = asio::local::stream_protocol;
using boost::system::error_code;

// One connection. It lives as long as a read or write is under way, or its session is open.
class SocketTransport final : public Transport, public std::enable_shared_from_this<SocketTransport> {
 public:
  SocketTransport(Local::socket socket, std::shared_ptr<Session> session)
      : socket_(std::move(socket)), session_(std::move(session)) {
    error_code ignored;
    socket_.non_blocking(true, ignored);
  }

  void start() {
    session_->start(shared_from_this());
    read();
  }

  // Most messages fit into the socket's buffer. Then one system call is enough, and no handler runs later.
  bool write(const Buffer& message) override {
    error_code failed;
    std::size_t sent = socket_.write_some(asio::buffer(*message), failed);
    if (failed == asio::error::would_block || failed == asio::error::try_again) {
      failed = {};
      sent = 0;
    }
    if (failed) {
      // Posted, because the session is calling us now.
      asio::post(socket_.get_executor(), [self = shared_from_this()] { self->gone(); });
      return false;
    }
    if (sent == message->size()) return true;
    asio::async_write(socket_, asio::buffer(message->data() + sent, message->size() - sent),
                      [self = shared_from_this(), message](error_code ec, std::size_t) {
                        if (ec) return self->gone();
                        self->session_->written();
                      });
    return false;
  }

  void resume() override {
    // Posted, because the session may be calling us now.
    asio::post(socket_.get_executor(), [self = shared_from_this()] { self->take_lines(); });
  }

  void close() override {
    error_code ignored;
    socket_.shutdown(Local::socket::shutdown_both, ignored);
    socket_.close(ignored);
  }

 private:
  void read() {
    if (reading_ || !socket_.is_open()) return;
    reading_ = true;
    const std::size_t old = unread_.size();
    unread_.resize(old + kReadSize);
    socket_.async_read_some(asio::buffer(unread_.data() + old, kReadSize),
                            [self = shared_from_this(), old](error_code ec, std::size_t n) {
                              self->reading_ = false;
                              self->unread_.resize(old + n);
                              if (ec) return self->gone();
                              self->take_lines();
                            });
  }

  void take_lines() {
    if (reading_) return;  // all complete lines were taken before the read began
    std::size_t used = 0;
    while (session_->wants_more()) {
      const auto end = unread_.find('\n', std::max(used, searched_));
      if (end == std::string::npos) {
        searched_ = unread_.size();
        break;
      }
      std::string_view line(unread_.data() + used, end - used);
      used = searched_ = end + 1;
      if (line.ends_with('\r')) line.remove_suffix(1);
      if (line.size() > kMostMessageBytes) return too_long();
      if (!line.empty()) session_->received(line);
    }
    unread_.erase(0, used);
    searched_ -= std::min(searched_, used);
    if (unread_.size() > kMostMessageBytes && unread_.find('\n') == std::string::npos) return too_long();
    if (session_->wants_more()) read();
  }

  void too_long() {
    unread_.clear();
    session_->refuse(protocol::RpcCode::kInvalidRequest,
                     "A message is at most 65536 bytes long; this connection is closed.");
  }

  void gone() {
    close();
    session_->closed();
  }

  static constexpr std::size_t kReadSize = 8192;
  Local::socket socket_;
  std::shared_ptr<Session> session_;
  std::string unread_;
  std::size_t searched_ = 0;  // there is no newline before this position
  bool reading_ = false;
};

std::string system_text(int error) {
  return std::strerror(error);
}

// Makes sure that no other user can replace our socket in this folder. A new folder is open to this user
// only. An existing folder is accepted or refused but never changed, because it may be the player's home or
// shared on purpose. The mode of the socket itself keeps other users out.
Result<void> place_for_socket(const fs::path& folder) {
  if (auto made = make_private_folder(folder); !made) return made.error();
  struct stat there {};
  if (::stat(folder.c_str(), &there) != 0)
    return unavailable("The folder " + folder.string() + " can't be examined: " + system_text(errno) + ".");
  if (there.st_uid != ::geteuid() && there.st_uid != 0)
    return Error{ErrorCode::kConflict,
                 "The folder " + folder.string() + " belongs to another user: put the socket elsewhere."};
  const bool others_write = (there.st_mode & (S_IWGRP | S_IWOTH)) != 0,
             sticky = (there.st_mode & S_ISVTX) != 0;
  if (others_write && !sticky)
    return Error{ErrorCode::kConflict, "Others may write in the folder " + folder.string() +
                                           ", so they could put their own socket in the place of ours: put "
                                           "the socket elsewhere, or close the folder to them."};
  return {};
}

}  // namespace

struct SocketListener::Impl : std::enable_shared_from_this<Impl> {
  Impl(asio::io_context& context, MakeSession make)
      : io(context), acceptor(context), pause(context), make_session(std::move(make)) {}

  void accept() {
    acceptor.async_accept([self = shared_from_this()](error_code ec, Local::socket socket) {
      if (!self->acceptor.is_open()) return;
      if (!ec) {
        if (auto session =
                self->make_session({.trusted = true, .local = true, .device = {}, .address = {}})) {
          std::make_shared<SocketTransport>(std::move(socket), std::move(session))->start();
        } else {
          const std::string sentence =
              error_line(protocol::RpcCode::kExhausted, "Too many clients are connected.");
          error_code ignored;
          socket.non_blocking(true, ignored);
          socket.write_some(asio::buffer(sentence), ignored);
        }
        return self->accept();
      }
      // Probably no file descriptor is left. Trying again at once would keep the processor busy.
      self->pause.expires_after(std::chrono::milliseconds(200));
      self->pause.async_wait([self](error_code stopped) {
        if (!stopped) self->accept();
      });
    });
  }

  asio::io_context& io;
  Local::acceptor acceptor;
  asio::steady_timer pause;
  MakeSession make_session;
  fs::path path;
  int lock = -1;
  struct stat made {};
};

SocketListener::SocketListener(asio::io_context& io, MakeSession make_session)
    : impl_(std::make_shared<Impl>(io, std::move(make_session))) {}

SocketListener::~SocketListener() {
  stop();
}

Result<void> SocketListener::listen(const fs::path& path) {
  if (path.string().size() >= sizeof(sockaddr_un::sun_path))
    return invalid_input("The socket path " + path.string() + " is longer than the " +
                         std::to_string(sizeof(sockaddr_un::sun_path) - 1) +
                         " bytes a Unix socket can have.");
  if (auto safe = place_for_socket(path.parent_path()); !safe) return safe;
  const std::string lock_path = path.string() + ".lock";
  const int lock = ::open(lock_path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (lock < 0)
    return unavailable("The lock file " + lock_path + " can't be opened: " + system_text(errno) + ".");
  const auto running = [&] {
    ::close(lock);
    return Error{ErrorCode::kConflict,
                 "undersongd is already running and answers at " + path.string() + "; this one gives way."};
  };
  if (::flock(lock, LOCK_EX | LOCK_NB) != 0) return running();

  struct stat there {};
  if (::lstat(path.c_str(), &there) == 0) {
    if (!S_ISSOCK(there.st_mode)) {
      ::close(lock);
      return Error{ErrorCode::kConflict, path.string() + " is in the way: it is not a socket."};
    }
    Local::socket probe(impl_->io);
    error_code answered;
    probe.connect(Local::endpoint(path.string()), answered);
    if (!answered) return running();
    ::unlink(path.c_str());  // a killed daemon left it behind
  }

  error_code failed;
  auto& acceptor = impl_->acceptor;
  acceptor.open(Local(), failed);
  if (!failed) acceptor.bind(Local::endpoint(path.string()), failed);
  if (!failed && ::chmod(path.c_str(), 0600) != 0)
    failed = error_code(errno, boost::system::system_category());
  if (!failed) acceptor.listen(asio::socket_base::max_listen_connections, failed);
  if (failed) {
    error_code ignored;
    acceptor.close(ignored);
    ::close(lock);
    return unavailable("Listening at " + path.string() + " failed: " + failed.message() + ".");
  }
  ::lstat(path.c_str(), &impl_->made);
  impl_->path = path;
  impl_->lock = lock;
  impl_->accept();
  return {};
}

void SocketListener::stop() {
  if (!impl_->acceptor.is_open()) return;
  error_code ignored;
  impl_->acceptor.close(ignored);
  impl_->pause.cancel();
  struct stat there {};
  if (::lstat(impl_->path.c_str(), &there) == 0 && there.st_ino == impl_->made.st_ino &&
      there.st_dev == impl_->made.st_dev)
    ::unlink(impl_->path.c_str());
  if (impl_->lock >= 0) ::close(std::exchange(impl_->lock, -1));
}

}  // namespace undersong::server
