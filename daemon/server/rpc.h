// JSON-RPC 2.0 without any method: one received message becomes calls, and their answers one message to send.
//
//   handle(text, [](std::string_view method, const json::value& params, Reply reply) { reply.result("19"); },
//          [](std::string answer) { ... });
//
// Calls may be answered later and in any order; a batch is sent when its last call has been answered. A call
// whose Reply is thrown away unanswered is answered with an internal error, so that no client waits for ever.
//
// Whoever can't afford all calls of a batch at once reads the message and begins them one by one:
//
//   auto message = Incoming::read(text, hooks);
//   while (message->more() && there_is_room()) message->begin(dispatch);
//
// Threads: one. Errors: the standard's codes.
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
  // `json` is the text of the result. Only the first of these calls counts.
  void result(std::string json) const;
  void error(protocol::RpcCode code, std::string_view sentence) const;
  void error(const Error& error) const;

 private:
  friend class Incoming;
  struct Call;
  explicit Reply(std::shared_ptr<Call> call) : call_(std::move(call)) {}
  std::shared_ptr<Call> call_;
};

using Dispatch = std::function<void(std::string_view method, const boost::json::value& params, Reply reply)>;
// Called exactly once, with the line to send, or with "" when there is nothing to say.
using Finish = std::function<void(std::string answer)>;

// What the owner of a message hears of it. All but `finish` may be empty.
struct Hooks {
  Finish finish;
  std::function<void(std::size_t bytes)>
      answered;                   // a call that was begun, with so much text; before `finish`
  std::function<void()> went_on;  // after each of them: there may be room for another call
  // Whether so much text of a result may be kept until it is sent; where not, the call is answered with an
  // error instead.
  std::function<bool(std::size_t bytes)> fits;
};

// One received message and those of its calls that are still to be begun.
class Incoming {
 public:
  static std::shared_ptr<Incoming> read(std::string_view text, Hooks hooks);
  bool more() const { return next_ < count_; }
  // The next call. What is no request is answered at once and not dispatched. REQUIRES: more().
  void begin(const Dispatch& dispatch);
  // Answers all that were not begun with this error.
  void refuse_rest(protocol::RpcCode code, std::string_view sentence);
  // Of the answers gathered so far.
  std::size_t bytes() const;

 private:
  friend class Reply;
  struct Batch;
  const boost::json::value& call(std::size_t number) const;
  std::shared_ptr<Batch> batch_;
  boost::json::value message_;
  std::size_t next_ = 0, count_ = 0;
};

void handle(std::string_view text, const Dispatch& dispatch, Finish finish);

// A line that carries an error and no id, for what happens outside any request.
std::string error_line(protocol::RpcCode code, std::string_view sentence);

}  // namespace undersong::server
