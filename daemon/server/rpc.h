// JSON-RPC 2.0 without any method: one received message becomes calls, and their answers one message to send.
//
//   handle(text, [](std::string_view method, const json::value& params, Reply reply) { reply.result("19"); },
//          [](std::string answer) { ... });
//
// Calls may be answered later and in any order; a batch is sent when its last call has been answered. A call whose
// Reply is thrown away unanswered is answered with an internal error, so that no client waits for ever.
// Threads: one. Errors: the standard's codes.
// Source: JSON-RPC 2.0 Specification (JSON-RPC Working Group, 2010, updated 2013).
#pragma once

#include <boost/json/value.hpp>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/base/result.h"
#include "protocol/messages.h"

namespace undersong::server {

inline constexpr std::size_t kMostInBatch = 256;

class Reply {
 public:
  // `json` is the text of the result. Only the first of these calls counts.
  void result(std::string json) const;
  void error(protocol::RpcCode code, std::string_view sentence) const;
  void error(const Error& error) const;

 private:
  friend class RpcMessage;
  struct Call;
  explicit Reply(std::shared_ptr<Call> call) : call_(std::move(call)) {}
  std::shared_ptr<Call> call_;
};

using Dispatch = std::function<void(std::string_view method, const boost::json::value& params, Reply reply)>;
// Called exactly once, with the line to send, or with "" when there is nothing to say.
using Finish = std::function<void(std::string answer)>;

void handle(std::string_view text, const Dispatch& dispatch, Finish finish);

// A line that carries an error and no id, for what happens outside any request.
std::string error_line(protocol::RpcCode code, std::string_view sentence);

}  // namespace undersong::server
