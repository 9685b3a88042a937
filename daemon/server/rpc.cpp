#include "daemon/server/rpc.h"

#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include "daemon/server/rpc_error.h"
#include "protocol/json.h"

namespace undersong::server {
namespace {

namespace json = boost::json;
using protocol::RpcCode;

std::string error_text(std::string_view id, RpcCode code, std::string_view sentence) {
  std::string out = R"({"jsonrpc":"2.0","error":{"code":)";
  protocol::append_int(out, static_cast<std::int32_t>(code));
  out += R"(,"message":)";
  protocol::append_string(out, sentence);
  out.append(R"(},"id":)").append(id).append("}");
  return out;
}

// A number too large to be one can't be given back.
bool valid_id(const json::value& id) {
  if (const auto* d = id.if_double()) return std::isfinite(*d);
  return id.is_string() || id.is_number() || id.is_null();
}

// All the calls of one message.
struct Batch {
  Finish finish;
  bool array = false;
  std::size_t open = 1;  // calls unanswered, and one for handle() itself
  std::string answers;   // with commas between

  void add(std::string_view answer) {
    if (!answers.empty()) answers += ',';
    answers += answer;
  }
  void close_one() {
    if (--open != 0) return;
    if (!answers.empty()) {
      if (array) answers = "[" + answers + "]";
      answers += '\n';
    }
    std::exchange(finish, nullptr)(std::move(answers));
  }
};

}  // namespace

struct Reply::Call {
  std::shared_ptr<Batch> batch;
  std::optional<std::string> id;  // JSON text; empty: nobody waits
  bool answered = false;

  ~Call() {
    if (!answered) answer(id ? error_text(*id, RpcCode::kInternalError, "The request was not answered; this is a fault of the daemon.") : "");
  }
  void answer(std::string_view text) {
    if (std::exchange(answered, true)) return;
    if (id) batch->add(text);
    batch->close_one();
  }
};

void Reply::result(std::string result) const {
  std::string out;
  if (call_->id) {
    out.reserve(result.size() + 64);
    out.append(R"({"jsonrpc":"2.0","result":)").append(result).append(R"(,"id":)").append(*call_->id).append("}");
  }
  call_->answer(out);
}

void Reply::error(RpcCode code, std::string_view sentence) const {
  call_->answer(call_->id ? error_text(*call_->id, code, sentence) : "");
}

void Reply::error(const Error& error) const { this->error(rpc_code(error.code), error.message); }

class RpcMessage {
 public:
  static void call(const std::shared_ptr<Batch>& batch, const json::value& value, const Dispatch& dispatch) {
    const auto* object = value.if_object();
    const json::value* id = object != nullptr ? object->if_contains("id") : nullptr;
    if (id != nullptr && !valid_id(*id)) id = nullptr;
    const auto refuse = [&](std::string_view sentence) {
      batch->add(error_text(id != nullptr ? json::serialize(*id) : "null", RpcCode::kInvalidRequest, sentence));
    };
    if (object == nullptr) return refuse("Invalid Request: a request is an object.");
    const auto* version = object->if_contains("jsonrpc");
    if (version == nullptr || *version != "2.0") return refuse("Invalid Request: \"jsonrpc\" must be \"2.0\".");
    if (object->contains("id") && id == nullptr) return refuse("Invalid Request: \"id\" must be a string, a number or null.");
    const auto* method = object->if_contains("method");
    if (method == nullptr || !method->is_string()) return refuse("Invalid Request: \"method\" must be a string.");
    static const json::value kNoParams = json::object();
    const auto* params = object->if_contains("params");
    if (params == nullptr || params->is_null()) params = &kNoParams;
    if (!params->is_structured()) return refuse("Invalid Request: \"params\" must be an object or an array.");
    auto call = std::make_shared<Reply::Call>();
    call->batch = batch;
    if (id != nullptr) call->id = json::serialize(*id);
    ++batch->open;
    dispatch(std::string_view(method->get_string()), *params, Reply(std::move(call)));
  }
};

void handle(std::string_view text, const Dispatch& dispatch, Finish finish) {
  auto batch = std::make_shared<Batch>();
  batch->finish = std::move(finish);
  auto message = protocol::parse(text);
  if (!message) {
    batch->add(error_text("null", RpcCode::kParseError, "Parse error: " + message.error().sentence));
  } else if (const auto* array = message->if_array(); array == nullptr) {
    RpcMessage::call(batch, *message, dispatch);
  } else if (array->empty()) {
    batch->add(error_text("null", RpcCode::kInvalidRequest, "Invalid Request: a batch holds at least one request."));
  } else if (array->size() > kMostInBatch) {
    batch->add(error_text("null", RpcCode::kInvalidRequest, "Invalid Request: a batch holds at most 256 requests."));
  } else {
    batch->array = true;
    for (const auto& value : *array) RpcMessage::call(batch, value, dispatch);
  }
  batch->close_one();
}

std::string error_line(RpcCode code, std::string_view sentence) { return error_text("null", code, sentence) + "\n"; }

}  // namespace undersong::server
