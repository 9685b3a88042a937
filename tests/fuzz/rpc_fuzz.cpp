// Reads any bytes as a message. The parser, the readers of all requests and JSON-RPC must answer exactly
// once, with valid JSON or with nothing.
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
              // The params can be written and read again.
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
