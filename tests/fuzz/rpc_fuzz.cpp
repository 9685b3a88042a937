// Any bytes as a message: the parser, the reader of every request's params, and JSON-RPC answer each with one
// message that is JSON again, or with none.
#include <boost/mp11.hpp>
#include <cstdlib>

#include "daemon/server/rpc.h"
#include "protocol/json.h"
#include "protocol/messages.h"

using namespace undersong;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  int finished = 0;
  std::string answer;
  server::handle(
      text,
      [](std::string_view method, const boost::json::value& params, server::Reply reply) {
        bool known = false;
        boost::mp11::mp_for_each<boost::mp11::mp_transform<boost::mp11::mp_identity, protocol::Requests>>(
            [&](auto id) {
              using T = typename decltype(id)::type;
              if (known || (method != T::kMethod && method != "any")) return;
              const auto read = protocol::read_value<T>(params, "params");
              if (!read) {
                known = true;
                return reply.error(protocol::RpcCode::kInvalidParams, read.error().sentence);
              }
              // What was read can be written, and read again.
              const std::string again = protocol::to_json(*read);
              const auto second = protocol::read_text<T>(again, "params");
              if (!second || protocol::to_json(*second) != again) std::abort();
              known = true;
              reply.result(again);
            });
        if (!known) reply.error(protocol::RpcCode::kMethodNotFound, method);
      },
      [&](std::string text_out) {
        ++finished;
        answer = std::move(text_out);
      });
  if (finished != 1) std::abort();
  if (!answer.empty() && !protocol::parse(answer)) std::abort();
  return 0;
}
