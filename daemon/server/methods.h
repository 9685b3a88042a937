// THE table of requests: which function answers which method. It is made of the protocol's list of requests:
// each of them is answered by the function `answer` of its type (handlers.h).
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
};

// Sorted by name.
std::span<const Method> methods();
void call_method(Session& session, std::string_view name, const boost::json::value& params, Reply reply);

}  // namespace undersong::server
