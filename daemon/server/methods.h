// THE table of requests: which function answers which method. A new request is a message in
// protocol/messages.h and a row in methods.cpp.
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
