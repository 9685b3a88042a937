// JSON-RPC 2.0 without any methods: one received message becomes calls, and their answers become one message
// to send.
//
//   handle(text, [](std::string_view method, const json::value& params, Reply reply) { reply.result("19"); },
//          [](std::string answer) { ... });
//
// Calls may be answered later and in any order. The answer to a batch is sent when its last call was
// answered. If a Reply is destroyed without an answer, the call gets an internal error, so no client waits
// forever.
//
// An owner that must limit the calls under way reads the message and begins its calls one by one:
//
//   auto message = Incoming::read(text, hooks);
//   while (message->more() && there_is_room()) message->begin(dispatch);
//
// Threads: one thread; all callbacks are called on the thread that reads the message or answers the call.
// Errors: sent as JSON-RPC errors, with the codes of the standard and those of protocol/rpc_code.h.
// Source: JSON-RPC 2.0 Specification (JSON-RPC Working Group, 2010, updated 2013).
#pragma once

#include <boost/json/value.hpp>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/base/result.h"
#include "protocol/rpc_code.h"

namespace undersong::server {

inline constexpr std::size_t kMostInBatch = 256;

class Incoming;

class Reply {
 public:
  // `json` is the text of the result. Only the first call of any of these functions counts.
  void result(std::string json) const;
  void error(protocol::RpcCode code, std::string_view sentence) const;
  void error(const Error& error) const;

 private:
  friend class Incoming;
  struct Call;
  explicit Reply(std::shared_ptr<Call> call) : call_(std::move(call)) {}
  std::shared_ptr<Call> call_;
};

// Called by Incoming::begin, on its thread; answers the call through `reply`, at once or later.
using Dispatch = std::function<void(std::string_view method, const boost::json::value& params, Reply reply)>;
// Called exactly once, on the thread of the last answer, with the line to send. "" if nothing must be sent.
using Finish = std::function<void(std::string answer)>;

// Callbacks to the owner of a message, called on the thread that answers. All but `finish` may be empty.
struct Hooks {
  Finish finish;
  // A call that was begun has been answered with this many bytes of text. Called before `finish`.
  std::function<void(std::size_t bytes)> answered;
  // Called after each answer: there may be room to begin another call.
  std::function<void()> went_on;
  // Returns whether a result of this many bytes may be kept until it is sent. If not, the call is answered
  // with an error instead.
  std::function<bool(std::size_t bytes)> fits;
};

// One received message, and the calls in it that have not begun.
class Incoming {
 public:
  static std::shared_ptr<Incoming> read(std::string_view text, Hooks hooks);
  bool more() const { return next_ < count_; }
  // Begins the next call. An element that is not a valid request is answered at once and not dispatched.
  // REQUIRES: more().
  void begin(const Dispatch& dispatch);
  // Answers all calls that have not begun with this error.
  void refuse_rest(protocol::RpcCode code, std::string_view sentence);
  // The size of the answers gathered so far.
  std::size_t bytes() const;

 private:
  friend class Reply;
  struct Batch;
  const boost::json::value& call(std::size_t number) const;
  std::shared_ptr<Batch> batch_;
  boost::json::value message_;
  std::size_t next_ = 0, count_ = 0;
};

// Reads a message and begins all its calls.
void handle(std::string_view text, const Dispatch& dispatch, Finish finish);

// A line with an error and a null id, for trouble that belongs to no request.
std::string error_line(protocol::RpcCode code, std::string_view sentence);

}  // namespace undersong::server
