#include "daemon/server/methods.h"

#include <algorithm>
#include <array>
#include <boost/mp11/list.hpp>
#include <string>
#include <utility>

#include "daemon/base/caught.h"
#include "daemon/server/handlers.h"
#include "daemon/server/session.h"

namespace undersong::server {
namespace {

template <class T>
constexpr bool kLocalOnly = requires {
  requires T::kLocalOnly;
};

template <class T>
constexpr Method row{T::kMethod,
                     [](Session& session, const boost::json::value& params, Reply reply) {
                       auto read = protocol::read_value<T>(params, "params", protocol::Unknown::kRefuse);
                       if (!read)
                         return reply.error(protocol::RpcCode::kInvalidParams, read.error().sentence);
                       answer(session, *read, To<typename T::Reply>{std::move(reply)});
                     },
                     kLocalOnly<T>};

constexpr bool before(const Method& a, const Method& b) {
  return a.name < b.name;
}

template <class... T>
constexpr auto sorted_rows(boost::mp11::mp_list<T...>) {
  std::array rows{row<T>...};
  std::sort(rows.begin(), rows.end(), before);
  return rows;
}

constexpr auto kMethods = sorted_rows(protocol::Requests());
static_assert(std::adjacent_find(kMethods.begin(), kMethods.end(),
                                 [](const Method& a, const Method& b) { return !before(a, b); }) ==
                  kMethods.end(),
              "the rows are sorted, and no two have one name");
static_assert(kMethods.size() == boost::mp11::mp_size<protocol::Requests>::value,
              "every request of the protocol has its row");

}  // namespace

std::span<const Method> methods() {
  return kMethods;
}

void call_method(Session& session, std::string_view name, const boost::json::value& params, Reply reply) {
  const auto found = std::lower_bound(kMethods.begin(), kMethods.end(), name,
                                      [](const Method& m, std::string_view n) { return m.name < n; });
  if (found == kMethods.end() || found->name != name)
    return reply.error(protocol::RpcCode::kMethodNotFound, "Method not found: " + std::string(name) + ".");
  if (!session.trusted() && name != protocol::Hello::kMethod)
    return reply.error(protocol::RpcCode::kTokenNeeded, "Say hello with the token first.");
  if (found->local_only && !session.visitor().local)
    return reply.error(protocol::RpcCode::kOnlyLocal,
                       "Only the player at the machine that runs Undersong may do that.");
  const Reply spare = reply;  // for the exception below; only the first answer counts
  try {
    found->answer(session, params, std::move(reply));
  } catch (...) {
    spare.error(caught(std::string(name) + " was answered"));
  }
}

}  // namespace undersong::server
