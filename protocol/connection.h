// The client side of the connection to the daemon: blocking and simple.
//
//   auto daemon = Connection::open(default_socket_path());
//   if (!daemon) die(daemon.error().sentence);
//   auto takes = daemon->request(ListTakes{.limit = 5});
//   daemon->request(Subscribe{.topics = {Topic::kMoment}});
//   while (auto note = daemon->next_notification(1s)) ...
//
// Notifications that arrive while the caller waits for a reply are kept in order, at most kMostWaiting. If
// there are more, the oldest moments and statuses are dropped. If only log lines are left, the connection is
// closed with an error, so that no log line is lost silently.
//
// All texts that come back are safe to print (printable.h); on_result looks at the answer as it came. Nobody
// but this user and root is believed to be the daemon.
//
// Units: timeouts in milliseconds.
// Threads: not safe for use by several threads at once.
// Errors: Problem with one sentence. After the connection is lost, every call returns that error.
#pragma once

#include <chrono>
#include <deque>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>

#include "protocol/json.h"
#include "protocol/messages.h"

namespace undersong::protocol {

// $XDG_RUNTIME_DIR/undersong/socket; without that variable /tmp/undersong-UID/socket.
std::filesystem::path default_socket_path();

struct Notification {
  std::string method;
  boost::json::value params;

  // The params as the struct T, one of Notifications; empty if the notification is of another method.
  template <class T>
  std::optional<Read<T>> as() const;
};

class Connection {
 public:
  static constexpr std::size_t kMostWaiting = 20'000;

  // Waits for the daemon's welcome.
  static Read<Connection> open(const std::filesystem::path& socket,
                               std::chrono::milliseconds timeout = std::chrono::seconds(5));
  Connection(Connection&& other) noexcept;
  Connection& operator=(Connection&& other) noexcept;
  ~Connection();

  const Welcome& welcome() const { return welcome_; }
  int descriptor() const { return descriptor_; }  // for poll

  // Calls any method by name; `params` is JSON text. If the daemon answers with an error, its message becomes
  // the Problem's sentence.
  Read<boost::json::value> request(std::string_view method, std::string_view params,
                                   std::chrono::milliseconds timeout = std::chrono::seconds(10));
  // T: one of Requests.
  template <class T>
  Read<typename T::Reply> request(const T& params,
                                  std::chrono::milliseconds timeout = std::chrono::seconds(10));

  // Calls `look` with every result before it is returned. For programs that pass answers on as they came.
  void on_result(std::function<void(std::string_view method, const boost::json::value& result)> look) {
    on_result_ = std::move(look);
  }

  // The next notification; nullopt if none came in time. A lost connection is a Problem.
  Read<std::optional<Notification>> next_notification(std::chrono::milliseconds timeout);

 private:
  explicit Connection(int descriptor) : descriptor_(descriptor) {}
  Read<std::optional<std::string>> next_line(std::chrono::steady_clock::time_point deadline);
  std::optional<Problem> send_line(std::string line, std::chrono::steady_clock::time_point deadline);
  std::optional<Problem> keep(Notification notification);
  Problem lost(std::string sentence);

  int descriptor_ = -1;
  std::string unread_;  // received bytes; those from `used_` on are not handed out yet
  std::size_t used_ = 0, searched_ = 0;
  std::deque<Notification> waiting_;
  std::uint64_t last_id_ = 0;
  std::function<void(std::string_view, const boost::json::value&)> on_result_;
  std::string why_lost_;
  Welcome welcome_;
};

}  // namespace undersong::protocol
