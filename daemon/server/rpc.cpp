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

// A number that is too large for a double cannot be sent back.
bool valid_id(const json::value& id) {
  if (const auto* d = id.if_double()) return std::isfinite(*d);
  return id.is_string() || id.is_number() || id.is_null();
}

}  // namespace

// The calls of one message, and their answers so far.
struct Incoming::Batch {
  Hooks hooks;
  bool array = false;
  std::size_t open = 1;  // unanswered calls, begun or not
  std::string answers;   // separated by commas

  // A single answer is moved, because copying a long one would block the thread.
  void add(std::string answer) {
    if (answers.empty()) {
      answers = std::move(answer);
      return;
    }
    answers += ',';
    answers += answer;
  }
  void close_one() {
    if (--open != 0) return;
    if (!answers.empty()) {
      if (array) answers.insert(0, 1, '[').append("]");
      answers += '\n';
    }
    std::exchange(hooks.finish, nullptr)(std::move(answers));
    answers.clear();
  }
};

struct Reply::Call {
  std::shared_ptr<Incoming::Batch> batch;
  std::optional<std::string> id;  // JSON text; empty for a notification, which gets no answer
  bool answered = false;

  ~Call() {
    if (answered) return;
    try {
      answer(id ? error_text(*id, RpcCode::kInternalError,
                             "The request was not answered; this is a fault of the daemon.")
                : "");
    } catch (...) {  // there is no memory for an answer
    }
  }
  void answer(std::string text) {
    if (std::exchange(answered, true)) return;
    const auto kept = batch;  // the hooks may release the last other reference
    const std::size_t bytes = id ? text.size() : 0;
    if (id) kept->add(std::move(text));
    if (kept->hooks.answered) kept->hooks.answered(bytes);
    kept->close_one();
    if (kept->hooks.went_on) kept->hooks.went_on();
  }
};

// The text becomes the answer itself: one of megabytes that was copied would keep everybody waiting.
void Reply::result(std::string result) const {
  if (!call_->id) return call_->answer("");
  const auto& fits = call_->batch->hooks.fits;
  if (!call_->answered && fits && !fits(result.size()))
    return error(RpcCode::kExhausted,
                 "The answer does not fit beside those that wait to be read; read them, then ask again.");
  result.insert(0, R"({"jsonrpc":"2.0","result":)");
  result.append(R"(,"id":)").append(*call_->id).append("}");
  call_->answer(std::move(result));
}

void Reply::error(RpcCode code, std::string_view sentence) const {
  call_->answer(call_->id ? error_text(*call_->id, code, sentence) : "");
}

void Reply::error(const Error& error) const {
  this->error(rpc_code(error.code), error.message);
}

std::shared_ptr<Incoming> Incoming::read(std::string_view text, Hooks hooks) {
  auto out = std::make_shared<Incoming>();
  out->batch_ = std::make_shared<Batch>();
  Batch& batch = *out->batch_;
  batch.hooks = std::move(hooks);
  const auto refuse = [&](RpcCode code, std::string_view sentence) {
    batch.add(error_text("null", code, sentence));
    batch.close_one();
    return out;
  };
  auto message = protocol::parse(text);
  if (!message) return refuse(RpcCode::kParseError, "Parse error: " + message.error().sentence);
  out->message_ = std::move(*message);
  const auto* array = out->message_.if_array();
  if (array != nullptr && array->empty())
    return refuse(RpcCode::kInvalidRequest, "Invalid Request: a batch holds at least one request.");
  if (array != nullptr && array->size() > kMostInBatch)
    return refuse(RpcCode::kInvalidRequest, "Invalid Request: a batch holds at most 256 requests.");
  batch.array = array != nullptr;
  batch.open = out->count_ = array != nullptr ? array->size() : 1;
  return out;
}

const json::value& Incoming::call(std::size_t number) const {
  return batch_->array ? message_.get_array()[number] : message_;
}

std::size_t Incoming::bytes() const {
  return batch_->answers.size();
}

void Incoming::begin(const Dispatch& dispatch) {
  const json::value& value = call(next_++);
  const auto batch = batch_;
  const auto* object = value.if_object();
  const json::value* id = object != nullptr ? object->if_contains("id") : nullptr;
  if (id != nullptr && !valid_id(*id)) id = nullptr;
  const auto refuse = [&](std::string_view sentence) {
    batch->add(error_text(id != nullptr ? json::serialize(*id) : "null", RpcCode::kInvalidRequest, sentence));
    batch->close_one();
  };
  if (object == nullptr) return refuse("Invalid Request: a request is an object.");
  const auto* version = object->if_contains("jsonrpc");
  if (version == nullptr || *version != "2.0") return refuse("Invalid Request: \"jsonrpc\" must be \"2.0\".");
  if (object->contains("id") && id == nullptr)
    return refuse("Invalid Request: \"id\" must be a string, a number or null.");
  const auto* method = object->if_contains("method");
  if (method == nullptr || !method->is_string())
    return refuse("Invalid Request: \"method\" must be a string.");
  static const json::value kNoParams = json::object();
  const auto* params = object->if_contains("params");
  if (params == nullptr || params->is_null()) params = &kNoParams;
  if (!params->is_structured()) return refuse("Invalid Request: \"params\" must be an object or an array.");
  auto made = std::make_shared<Reply::Call>();
  made->batch = batch;
  if (id != nullptr) made->id = json::serialize(*id);
  dispatch(std::string_view(method->get_string()), *params, Reply(std::move(made)));
}

void Incoming::refuse_rest(RpcCode code, std::string_view sentence) {
  const auto batch = batch_;
  while (more()) {
    const json::value& value = call(next_++);
    const auto* object = value.if_object();
    const json::value* id = object != nullptr ? object->if_contains("id") : nullptr;
    // A notification gets no answer. An element that is not an object gets one, with a null id.
    if (object == nullptr || id != nullptr)
      batch->add(error_text(id != nullptr && valid_id(*id) ? json::serialize(*id) : "null", code, sentence));
    batch->close_one();
  }
}

void handle(std::string_view text, const Dispatch& dispatch, Finish finish) {
  const auto message =
      Incoming::read(text, {.finish = std::move(finish), .answered = {}, .went_on = {}, .fits = {}});
  while (message->more()) message->begin(dispatch);
}

std::string error_line(RpcCode code, std::string_view sentence) {
  return error_text("null", code, sentence) + "\n";
}

}  // namespace undersong::server
