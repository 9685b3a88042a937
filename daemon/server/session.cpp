#include "daemon/server/session.h"

#include "daemon/server/methods.h"
#include "daemon/server/rpc.h"

namespace undersong::server {
namespace {

constexpr int kWritesInARow = 32;  // then others get their turn

template <class T>
Buffer notification(const T& params) {
  std::string text = std::string(R"({"jsonrpc":"2.0","method":")") + T::kMethod + R"(","params":)";
  protocol::append_json(text, params);
  return std::make_shared<const std::string>(text + "}\n");
}

}  // namespace

bool same_token(std::string_view a, std::string_view b) {
  unsigned different = a.size() == b.size() ? 0 : 1;
  for (std::size_t i = 0; i < a.size() && !b.empty(); ++i)
    different |= static_cast<unsigned char>(a[i]) ^ static_cast<unsigned char>(b[i % b.size()]);
  return different == 0;
}

protocol::Welcome Session::welcome() const {
  protocol::Welcome welcome;
  welcome.program = room_.program_version;
  welcome.capabilities = {"moment", "status", "log", "hear", "notes", "export", "play", "beat", "along", "song"};
  welcome.token_needed = !trusted_;
  return welcome;
}

void Session::start(std::shared_ptr<Transport> transport) {
  transport_ = std::move(transport);
  replies_.push_back(notification(welcome()));
  reply_bytes_ += replies_.back()->size();
  pump();
}

void Session::received(std::string_view message) {
  ++calls_;
  const auto self = shared_from_this();
  handle(
      message,
      [&](std::string_view method, const boost::json::value& params, Reply reply) { call_method(*self, method, params, std::move(reply)); },
      [weak = weak_from_this()](std::string answer) {
        const auto session = weak.lock();
        if (!session || session->transport_ == nullptr) return;
        --session->calls_;
        if (!answer.empty()) {
          session->reply_bytes_ += answer.size();
          session->replies_.push_back(std::make_shared<const std::string>(std::move(answer)));
        }
        session->pump();
      });
}

bool Session::wants_more() {
  if (has_room()) return true;
  paused_ = true;
  return false;
}

void Session::written() {
  writing_ = false;
  pump();
}

void Session::closed() {
  if (std::exchange(gone_, true)) return;
  const auto self = shared_from_this();  // the publisher may hold the last reference
  transport_ = nullptr;
  moments_ = statuses_ = log_ = false;
  room_.publisher.remove(this);
  room_.desk.client_gone(id_);
}

void Session::close() {
  const auto transport = transport_;
  closed();
  if (transport != nullptr) transport->close();
}

void Session::refuse(protocol::RpcCode code, std::string_view sentence) {
  replies_.push_back(std::make_shared<const std::string>(error_line(code, sentence)));
  reply_bytes_ += replies_.back()->size();
  closing_ = true;
  pump();
}

bool Session::show_token(const std::optional<std::string>& token) {
  if (!trusted_) trusted_ = token && !room_.token.empty() && same_token(*token, room_.token);
  return trusted_;
}

protocol::Subscribed Session::subscribed() const {
  protocol::Subscribed out;
  if (moments_) out.topics.push_back(protocol::Topic::kMoment);
  if (statuses_) out.topics.push_back(protocol::Topic::kStatus);
  if (log_) out.topics.push_back(protocol::Topic::kLog);
  out.log_next = log_ ? log_next_ : room_.publisher.log_end() + 1;
  out.store = room_.store.health().id;
  return out;
}

protocol::Subscribed Session::subscribe(const protocol::Subscribe& wish) {
  for (const protocol::Topic topic : wish.topics) {
    if (topic == protocol::Topic::kMoment) {
      moments_ = true;
      moment_ = room_.newest_moment();
    } else if (topic == protocol::Topic::kStatus) {
      statuses_ = true;
      status_ = room_.newest_status();
    } else if (!log_ || wish.log_from) {
      log_ = true;
      const takes::LineNumber next = room_.publisher.log_end() + 1;
      log_next_ = wish.log_from ? std::clamp<takes::LineNumber>(*wish.log_from, 1, next) : next;
      replay_.clear();
    }
  }
  return subscribed();
}

protocol::Subscribed Session::unsubscribe(const protocol::Unsubscribe& wish) {
  for (const protocol::Topic topic : wish.topics) {
    if (topic == protocol::Topic::kMoment) {
      moments_ = false;
      moment_ = nullptr;
    } else if (topic == protocol::Topic::kStatus) {
      statuses_ = false;
      status_ = nullptr;
    } else {
      log_ = false;
      replay_.clear();
    }
  }
  return subscribed();
}

void Session::offer_moment(const Buffer& message) {
  if (!moments_) return;
  moment_ = message;
  pump();
}

void Session::offer_status(const Buffer& message) {
  if (!statuses_) return;
  status_ = message;
  pump();
}

void Session::log_grew() {
  if (log_) pump();
}

void Session::fetch() {
  if (fetching_) return;
  fetching_ = true;
  const takes::LineNumber from = log_next_;
  room_.store.lines({}, from, kReplayLines, {}, [weak = weak_from_this(), from](Result<std::vector<takes::Line>> lines) {
    const auto session = weak.lock();
    if (!session) return;
    session->fetching_ = false;
    // Trouble with the store: the position stays, and is tried again when the log grows.
    if (!session->log_ || !lines) return;
    if (session->log_next_ == from) {
      for (const takes::Line& line : *lines) session->replay_.emplace_back(line.number, log_message(line));
      if (lines->empty()) session->log_next_ = session->room_.publisher.log_end() + 1;  // those lines left with their file
    }
    session->pump();
  });
}

Buffer Session::next_line() {
  if (!log_ || log_next_ > room_.publisher.log_end()) return nullptr;
  if (!replay_.empty()) {
    auto [number, line] = std::move(replay_.front());
    replay_.pop_front();
    log_next_ = number + 1;
    return line;
  }
  if (Buffer line = room_.publisher.line(log_next_)) {
    ++log_next_;
    return line;
  }
  fetch();
  return nullptr;
}

Buffer Session::next() {
  if (!replies_.empty()) {
    Buffer reply = std::move(replies_.front());
    replies_.pop_front();
    reply_bytes_ -= reply->size();
    return reply;
  }
  if (closing_) return nullptr;
  line_next_ = !line_next_;
  if (!line_next_)
    if (Buffer line = next_line()) return line;
  if (moment_) return std::exchange(moment_, nullptr);
  if (status_) return std::exchange(status_, nullptr);
  return line_next_ ? next_line() : nullptr;
}

void Session::pump() {
  if (pumping_ || again_) return;
  pumping_ = true;
  const auto self = shared_from_this();
  int writes = 0;
  const auto transport = transport_;  // kept while it is used
  while (transport_ != nullptr && !writing_) {
    if (writes == kWritesInARow) {
      again_ = true;
      room_.post([weak = weak_from_this()] {
        if (const auto session = weak.lock()) {
          session->again_ = false;
          session->pump();
        }
      });
      break;
    }
    const Buffer message = next();
    if (!message) {
      if (closing_) close();
      break;
    }
    ++writes;
    writing_ = !transport_->write(message);
  }
  pumping_ = false;
  if (paused_ && has_room()) {
    paused_ = false;
    transport_->resume();
  }
}

}  // namespace undersong::server
