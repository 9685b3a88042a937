// A client's side of the connection: blocking and simple.
//
//   auto daemon = Connection::open(default_socket_path());
//   if (!daemon) die(daemon.error().sentence);
//   auto takes = daemon->request(ListTakes{.limit = 5});
//   daemon->request(Subscribe{.topics = {Topic::kMoment}});
//   while (auto note = daemon->next_notification(1s)) ...
//
// Notifications that arrive while a reply is awaited are kept in order, at most kMostWaiting; older moments
// and statuses are dropped first, then the connection is given up rather than lose a log line unsaid.
// Threads: one at a time. Errors: Problem, one sentence; after a lost connection every call says so.
#pragma once

#include <chrono>
#include <deque>
#include <filesystem>
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

  // The params as the struct of this method; empty if the method is another.
  template <class T>
  std::optional<Read<T>> as() const {
    if (method != T::kMethod) return std::nullopt;
    return read_value<T>(params, method);
  }
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

  // Any method by name; `params` is JSON text. The error of the daemon is the Problem's sentence.
  Read<boost::json::value> request(std::string_view method, std::string_view params,
                                   std::chrono::milliseconds timeout = std::chrono::seconds(10));
  template <class T>
  Read<typename T::Reply> request(const T& params,
                                  std::chrono::milliseconds timeout = std::chrono::seconds(10)) {
    auto reply = request(T::kMethod, to_json(params), timeout);
    if (!reply) return reply.error();
    return read_value<typename T::Reply>(*reply, std::string("The reply to ") + T::kMethod);
  }

  // The next notification; nullopt when none came in time. A lost connection is a Problem.
  Read<std::optional<Notification>> next_notification(std::chrono::milliseconds timeout);

 private:
  explicit Connection(int descriptor) : descriptor_(descriptor) {}
  Read<std::optional<std::string>> next_line(std::chrono::steady_clock::time_point deadline);
  std::optional<Problem> send_line(std::string line, std::chrono::steady_clock::time_point deadline);
  std::optional<Problem> keep(Notification notification);
  Problem lost(std::string sentence);

  int descriptor_ = -1;
  std::string unread_;  // bytes received, from `used_` on not yet handed out
  std::size_t used_ = 0, searched_ = 0;
  std::deque<Notification> waiting_;
  std::uint64_t last_id_ = 0;
  std::string why_lost_;
  Welcome welcome_;
};

}  // namespace undersong::protocol
