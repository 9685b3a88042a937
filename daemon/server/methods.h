// The table of requests: which function answers which method. It is made from the protocol's list of
// requests; the function is the overload of `answer` for the request's type (handlers.h).
//
// Threads: the io thread.
// Errors: JSON-RPC errors, passed to the reply: unknown method, token needed, only for the player at this
// machine, params that cannot be read, and what the function throws.
#pragma once

#include <boost/json/value.hpp>
#include <span>
#include <string_view>

#include "daemon/server/rpc.h"

namespace undersong::server {

class Session;

struct Method {
  std::string_view name;
  void (*answer)(Session& session, const boost::json::value& params, Reply reply);
  bool local_only = false;  // only the player at this machine may call it
};

// All methods, sorted by name.
std::span<const Method> methods();
// Answers one request. Without the token, a session that needs it may call only `hello`.
void call_method(Session& session, std::string_view name, const boost::json::value& params, Reply reply);

}  // namespace undersong::server
