// The examples of the JSON-RPC 2.0 specification, answered by a small set of test methods.
#include "daemon/server/rpc.h"

#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <optional>
#include <vector>

namespace undersong::server {
namespace {

namespace json = boost::json;

struct Asked {
  int finished = 0;
  std::string answer;
};

void specification(std::string_view method, const json::value& params, Reply reply) {
  if (method == "subtract") {
    const auto number = [&](std::size_t place, const char* name) {
      return params.is_array() ? params.as_array().at(place).as_int64()
                               : params.as_object().at(name).as_int64();
    };
    return reply.result(std::to_string(number(0, "minuend") - number(1, "subtrahend")));
  }
  if (method == "sum") {
    std::int64_t sum = 0;
    for (const auto& n : params.as_array()) sum += n.as_int64();
    return reply.result(std::to_string(sum));
  }
  if (method == "get_data") return reply.result(R"(["hello",5])");
  if (method == "update" || method == "notify_hello" || method == "notify_sum") return reply.result("null");
  reply.error(protocol::RpcCode::kMethodNotFound, "Method not found");
}

Asked ask_text(std::string_view text, const Dispatch& dispatch = specification) {
  Asked asked;
  handle(text, dispatch, [&](std::string answer) {
    ++asked.finished;
    asked.answer = std::move(answer);
  });
  EXPECT_EQ(asked.finished, 1) << text;
  return asked;
}

// The answer without the texts of errors, because the standard does not prescribe them.
json::value answer(std::string_view text) {
  json::value value = json::parse(ask_text(text).answer);
  const auto strip = [](json::value& v) {
    if (auto* object = v.if_object(); object != nullptr && object->contains("error"))
      object->at("error").as_object().erase("message");
  };
  if (value.is_array())
    for (auto& v : value.as_array()) strip(v);
  else
    strip(value);
  return value;
}
json::value refused(int code, json::value id) {
  return {{"jsonrpc", "2.0"}, {"error", {{"code", code}}}, {"id", std::move(id)}};
}

TEST(Specification, PositionalAndNamedParams) {
  EXPECT_EQ(answer(R"({"jsonrpc": "2.0", "method": "subtract", "params": [42, 23], "id": 1})"),
            json::parse(R"({"jsonrpc":"2.0","result":19,"id":1})"));
  EXPECT_EQ(answer(R"({"jsonrpc": "2.0", "method": "subtract", "params": [23, 42], "id": 2})"),
            json::parse(R"({"jsonrpc":"2.0","result":-19,"id":2})"));
  EXPECT_EQ(
      answer(
          R"({"jsonrpc": "2.0", "method": "subtract", "params": {"subtrahend": 23, "minuend": 42}, "id": 3})"),
      json::parse(R"({"jsonrpc":"2.0","result":19,"id":3})"));
  EXPECT_EQ(
      answer(
          R"({"jsonrpc": "2.0", "method": "subtract", "params": {"minuend": 42, "subtrahend": 23}, "id": 4})"),
      json::parse(R"({"jsonrpc":"2.0","result":19,"id":4})"));
}

TEST(Specification, NotificationsAreNotAnswered) {
  EXPECT_EQ(ask_text(R"({"jsonrpc": "2.0", "method": "update", "params": [1,2,3,4,5]})").answer, "");
  EXPECT_EQ(ask_text(R"({"jsonrpc": "2.0", "method": "foobar"})").answer, "");
}

TEST(Specification, Errors) {
  EXPECT_EQ(answer(R"({"jsonrpc": "2.0", "method": "foobar", "id": "1"})"), refused(-32601, "1"));
  EXPECT_EQ(answer(R"({"jsonrpc": "2.0", "method": "foobar, "params": "bar", "baz])"),
            refused(-32700, nullptr));
  EXPECT_EQ(answer(R"({"jsonrpc": "2.0", "method": 1, "params": "bar"})"), refused(-32600, nullptr));
  EXPECT_EQ(
      answer(
          R"([{"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"},{"jsonrpc": "2.0", "method")"),
      refused(-32700, nullptr));
  EXPECT_EQ(answer("[]"), refused(-32600, nullptr));
  EXPECT_EQ(answer("[1]"), json::value(json::array{refused(-32600, nullptr)}));
  EXPECT_EQ(answer("[1,2,3]"), json::value(json::array{refused(-32600, nullptr), refused(-32600, nullptr),
                                                       refused(-32600, nullptr)}));
}

TEST(Specification, Batch) {
  EXPECT_EQ(answer(R"([{"jsonrpc": "2.0", "method": "sum", "params": [1,2,4], "id": "1"},
                       {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]},
                       {"jsonrpc": "2.0", "method": "subtract", "params": [42,23], "id": "2"},
                       {"foo": "boo"},
                       {"jsonrpc": "2.0", "method": "foo.get", "params": {"name": "myself"}, "id": "5"},
                       {"jsonrpc": "2.0", "method": "get_data", "id": "9"}])"),
            (json::value{{{"jsonrpc", "2.0"}, {"result", 7}, {"id", "1"}},
                         {{"jsonrpc", "2.0"}, {"result", 19}, {"id", "2"}},
                         refused(-32600, nullptr),
                         refused(-32601, "5"),
                         {{"jsonrpc", "2.0"}, {"result", {"hello", 5}}, {"id", "9"}}}));
  EXPECT_EQ(
      ask_text(
          R"([{"jsonrpc": "2.0", "method": "notify_sum", "params": [1,2,4]}, {"jsonrpc": "2.0", "method": "notify_hello", "params": [7]}])")
          .answer,
      "");
}

TEST(Requests, AreRefusedWithTheIdTheyHave) {
  EXPECT_EQ(answer(R"({"method":"sum","id":7})"), refused(-32600, 7)) << "no version";
  EXPECT_EQ(answer(R"({"jsonrpc":"1.0","method":"sum","id":7})"), refused(-32600, 7));
  EXPECT_EQ(answer(R"({"jsonrpc":"2.0","method":"sum","id":{}})"), refused(-32600, nullptr));
  EXPECT_EQ(answer(R"({"jsonrpc":"2.0","method":"sum","params":5,"id":7})"), refused(-32600, 7));
  EXPECT_EQ(answer(R"({"jsonrpc":"2.0","method":"foobar","id":null})"), refused(-32601, nullptr))
      << "null is an id";
  EXPECT_EQ(answer(R"({"jsonrpc":"2.0","method":"sum","id":8e999999})"), refused(-32600, nullptr))
      << "no number";
  std::string many = "[1";
  for (int i = 0; i < 300; ++i) many += ",1";
  EXPECT_EQ(answer(many + "]"), refused(-32600, nullptr)) << "one answer, not 301";
}

TEST(Requests, MayBeAnsweredLaterAndInAnyOrder) {
  std::vector<Reply> waiting;
  int finished = 0;
  std::string answer;
  handle(R"([{"jsonrpc":"2.0","method":"a","id":1},{"jsonrpc":"2.0","method":"b","id":2}])",
         [&](std::string_view, const json::value&, Reply reply) { waiting.push_back(std::move(reply)); },
         [&](std::string text) {
           ++finished;
           answer = std::move(text);
         });
  ASSERT_EQ(waiting.size(), 2u);
  waiting[1].result("true");
  EXPECT_EQ(finished, 0);
  waiting[0].result("false");
  waiting[0].result("again");
  EXPECT_EQ(finished, 1);
  EXPECT_EQ(answer, R"([{"jsonrpc":"2.0","result":true,"id":2},{"jsonrpc":"2.0","result":false,"id":1}])"
                    "\n");
}

TEST(Requests, ThatNobodyAnswersGetAnInternalError) {
  EXPECT_NE(ask_text(R"({"jsonrpc":"2.0","method":"a","id":1})", [](auto, const auto&, Reply) {})
                .answer.find("-32603"),
            std::string::npos);
}

}  // namespace
}  // namespace undersong::server
