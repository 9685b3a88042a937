#include "protocol/connection.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <utility>

#include "protocol/printable.h"

namespace undersong::protocol {
namespace {

using Clock = std::chrono::steady_clock;

// Returns false if the deadline passes first.
bool wait_for(int descriptor, short what, Clock::time_point deadline) {
  for (;;) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(deadline - Clock::now()).count();
    pollfd ask{descriptor, what, 0};
    const int ready = ::poll(&ask, 1, static_cast<int>(std::clamp<std::int64_t>(left, 0, 1 << 30)));
    if (ready > 0) return true;
    if (ready == 0) return false;
    if (errno != EINTR) return true;  // the read or write that follows reports the error
  }
}

std::string system_text(int error) {
  return std::strerror(error);
}

std::string broken(int error) {
  if (error == EPIPE || error == ECONNRESET) return "The daemon closed the connection.";
  return "The connection to the daemon broke: " + system_text(error) + ".";
}

}  // namespace

std::filesystem::path default_socket_path() {
  const char* runtime = std::getenv("XDG_RUNTIME_DIR");
  if (runtime != nullptr && runtime[0] == '/') return std::filesystem::path(runtime) / "undersong" / "socket";
  return "/tmp/undersong-" + std::to_string(::getuid()) + "/socket";
}

Read<Connection> Connection::open(const std::filesystem::path& socket, std::chrono::milliseconds timeout) {
  const auto deadline = Clock::now() + timeout;
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  const std::string path = socket.string();
  if (path.size() >= sizeof address.sun_path)
    return Problem{"The socket path " + path + " is longer than the " +
                   std::to_string(sizeof address.sun_path - 1) + " bytes a Unix socket can have."};
  std::memcpy(address.sun_path, path.c_str(), path.size() + 1);
  const int descriptor = ::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
  if (descriptor < 0) return Problem{"No socket could be made: " + system_text(errno) + "."};
  Connection connection(descriptor);
  if (::connect(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    if (errno == ENOENT || errno == ECONNREFUSED)
      return Problem{"No daemon is running: nobody listens at " + path + "."};
    return Problem{"Connecting to " + path + " failed: " + system_text(errno) + "."};
  }
  // Whoever makes a folder in /tmp first could listen there in the place of our daemon.
  ucred listener{};
  socklen_t size = sizeof listener;
  if (::getsockopt(descriptor, SOL_SOCKET, SO_PEERCRED, &listener, &size) != 0 ||
      (listener.uid != ::geteuid() && listener.uid != 0))
    return Problem{"Whoever listens at " + path +
                   " is another user of this machine, so nothing was asked there."};
  ::fcntl(descriptor, F_SETFL, ::fcntl(descriptor, F_GETFL) | O_NONBLOCK);
  auto line = connection.next_line(deadline);
  if (!line) return line.error();
  if (!*line) return Problem{"Whoever listens at " + path + " did not answer in time."};
  auto tree = parse(**line);
  if (!tree)
    return Problem{"Whoever listens at " + path + " speaks something else: " + tree.error().sentence};
  if (const auto* object = tree->if_object()) {
    if (const auto* error = object->if_contains("error"); error != nullptr && error->is_object())
      if (const auto* message = error->get_object().if_contains("message");
          message != nullptr && message->is_string()) {
        const auto* code = error->get_object().if_contains("code");
        const auto* number = code == nullptr ? nullptr : code->if_int64();
        const bool fits = number != nullptr && std::in_range<std::int32_t>(*number);
        return Problem{printable(std::string(message->get_string())), fits ? static_cast<int>(*number) : 0};
      }
    const auto* method = object->if_contains("method");
    const auto* params = object->if_contains("params");
    if (method != nullptr && *method == Welcome::kMethod && params != nullptr) {
      auto welcome = read_value<Welcome>(*params, Welcome::kMethod);
      if (!welcome) return welcome.error();
      connection.welcome_ = std::move(*welcome);
      return connection;
    }
  }
  return Problem{"Whoever listens at " + path + " did not greet as this protocol does."};
}

Connection::Connection(Connection&& other) noexcept {
  *this = std::move(other);
}

Connection& Connection::operator=(Connection&& other) noexcept {
  if (this == &other) return *this;
  if (descriptor_ >= 0) ::close(descriptor_);
  descriptor_ = std::exchange(other.descriptor_, -1);
  unread_ = std::move(other.unread_);
  used_ = std::exchange(other.used_, 0);
  searched_ = std::exchange(other.searched_, 0);
  waiting_ = std::move(other.waiting_);
  last_id_ = other.last_id_;
  on_result_ = std::move(other.on_result_);
  why_lost_ = std::move(other.why_lost_);
  welcome_ = std::move(other.welcome_);
  return *this;
}

Connection::~Connection() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

Problem Connection::lost(std::string sentence) {
  if (descriptor_ >= 0) ::close(std::exchange(descriptor_, -1));
  why_lost_ = std::move(sentence);
  return Problem{why_lost_};
}

Read<std::optional<std::string>> Connection::next_line(Clock::time_point deadline) {
  for (;;) {
    const auto end = unread_.find('\n', std::max(used_, searched_));
    if (end != std::string::npos) {
      std::string line = unread_.substr(used_, end - used_);
      used_ = searched_ = end + 1;
      return std::optional(std::move(line));
    }
    unread_.erase(0, std::exchange(used_, 0));
    searched_ = unread_.size();
    if (descriptor_ < 0) return Problem{why_lost_};
    if (!wait_for(descriptor_, POLLIN, deadline)) return std::optional<std::string>();
    char bytes[65536];
    const ssize_t n = ::read(descriptor_, bytes, sizeof bytes);
    if (n > 0)
      unread_.append(bytes, static_cast<std::size_t>(n));
    else if (n == 0)
      return lost("The daemon closed the connection.");
    else if (errno != EAGAIN && errno != EINTR)
      return lost(broken(errno));
  }
}

std::optional<Problem> Connection::send_line(std::string line, Clock::time_point deadline) {
  line += '\n';
  for (std::size_t sent = 0; sent < line.size();) {
    if (descriptor_ < 0) return Problem{why_lost_};
    const ssize_t n = ::send(descriptor_, line.data() + sent, line.size() - sent, MSG_NOSIGNAL);
    if (n >= 0)
      sent += static_cast<std::size_t>(n);
    else if (errno == EAGAIN) {
      // Half a line cannot be taken back, so the connection ends if the daemon does not read in time.
      if (!wait_for(descriptor_, POLLOUT, deadline))
        return lost("The daemon did not take a request in time.");
    } else if (errno != EINTR)
      return lost(broken(errno));
  }
  return std::nullopt;
}

std::optional<Problem> Connection::keep(Notification notification) {
  waiting_.push_back(std::move(notification));
  if (waiting_.size() <= kMostWaiting) return std::nullopt;
  const auto state = std::find_if(waiting_.begin(), waiting_.end(),
                                  [](const Notification& n) { return n.method != Log::kMethod; });
  if (state == waiting_.end())
    return lost("More than " + std::to_string(kMostWaiting) + " log lines came unread.");
  waiting_.erase(state);
  return std::nullopt;
}

Read<boost::json::value> Connection::request(std::string_view method, std::string_view params,
                                             std::chrono::milliseconds timeout) {
  const auto deadline = Clock::now() + timeout;
  const std::uint64_t id = ++last_id_;
  std::string line = R"({"jsonrpc":"2.0","id":)" + std::to_string(id) + R"(,"method":)";
  append_string(line, method);
  line.append(R"(,"params":)").append(params.empty() ? "{}" : params).append("}");
  if (auto failed = send_line(std::move(line), deadline)) return *failed;
  for (;;) {
    auto next = next_line(deadline);
    if (!next) return next.error();
    if (!*next) return Problem{"The daemon did not answer " + std::string(method) + " in time."};
    auto tree = parse(**next);
    if (!tree) return lost("The daemon sent a line that can't be read. " + tree.error().sentence);
    auto* object = tree->if_object();
    if (object == nullptr) continue;
    if (auto* name = object->if_contains("method"); name != nullptr && name->is_string()) {
      Notification notification{std::string(name->get_string()), {}};
      if (auto* value = object->if_contains("params")) notification.params = std::move(*value);
      make_printable(notification.params);
      if (auto failed = keep(std::move(notification))) return *failed;
      continue;
    }
    if (const auto* answered = object->if_contains("id");
        answered == nullptr || !answered->is_number() || answered->to_number<std::uint64_t>() != id)
      continue;  // late reply to a request that timed out
    if (auto* result = object->if_contains("result")) {
      if (on_result_) on_result_(method, *result);
      make_printable(*result);
      return std::move(*result);
    }
    if (const auto* error = object->if_contains("error"); error != nullptr && error->is_object())
      if (const auto* message = error->get_object().if_contains("message");
          message != nullptr && message->is_string()) {
        const auto* code = error->get_object().if_contains("code");
        const auto* number = code == nullptr ? nullptr : code->if_int64();
        const bool fits = number != nullptr && std::in_range<std::int32_t>(*number);
        return Problem{printable(std::string(message->get_string())), fits ? static_cast<int>(*number) : 0};
      }
    return Problem{"The daemon answered " + std::string(method) + " with neither a result nor an error."};
  }
}

Read<std::optional<Notification>> Connection::next_notification(std::chrono::milliseconds timeout) {
  const auto deadline = Clock::now() + timeout;
  if (!waiting_.empty()) {
    std::optional<Notification> first(std::move(waiting_.front()));
    waiting_.pop_front();
    return first;
  }
  for (;;) {
    auto next = next_line(deadline);
    if (!next) return next.error();
    if (!*next) return std::optional<Notification>();
    auto tree = parse(**next);
    if (!tree) return lost("The daemon sent a line that can't be read. " + tree.error().sentence);
    auto* object = tree->if_object();
    if (object == nullptr) continue;
    auto* name = object->if_contains("method");
    if (name == nullptr || !name->is_string()) continue;
    Notification notification{std::string(name->get_string()), {}};
    if (auto* value = object->if_contains("params")) notification.params = std::move(*value);
    make_printable(notification.params);
    return std::optional<Notification>(std::move(notification));
  }
}

}  // namespace undersong::protocol
