#include "daemon/server/session.h"

#include <algorithm>
#include <utility>

#include "daemon/base/caught.h"
#include "daemon/live/stage.h"
#include "daemon/server/connection_wire.h"
#include "daemon/server/methods.h"
#include "daemon/server/pairing.h"
#include "daemon/server/rpc.h"
#include "daemon/server/wire.h"

namespace undersong::server {
namespace {

constexpr int kWritesInARow = 32;  // then other work on io gets its turn; common practice, no source

}  // namespace

void Session::start(std::shared_ptr<Transport> transport) {
  if (gone_) return transport->close();  // it was closed before the connection was complete
  transport_ = std::move(transport);
  keep_reply(welcome_message(room_.program_version, visitor_));
  pump();
}

bool Session::fits(std::size_t bytes) const {
  const std::size_t mine = unread() + bytes;
  if (unread() == 0 || mine <= kMostReplyBytes) return true;
  return mine <= kMostUnreadBytes && load_->bytes + bytes <= kMostUnreadBytesOfAll;
}

void Session::keep_reply(Buffer reply) {
  reply_bytes_ += reply->size();
  load_->bytes += reply->size();
  replies_.push_back(std::move(reply));
}

void Session::received(std::string_view message) {
  const auto self = shared_from_this();
  const auto gathered = std::make_shared<std::size_t>(0);
  const auto here = [weak = weak_from_this()] {
    auto session = weak.lock();
    return session && session->transport_ != nullptr ? session : nullptr;
  };
  try {
    pending_ = Incoming::read(
        message, {.finish =
                      [here, gathered](std::string answer) {
                        const auto session = here();
                        if (!session) return;
                        session->gathered_ -= *gathered;
                        session->load_->bytes -= *gathered;
                        if (!answer.empty())
                          session->keep_reply(std::make_shared<const std::string>(std::move(answer)));
                        session->pump();
                      },
                  .answered =
                      [here, gathered, load = load_](std::size_t bytes) {
                        --load->calls;
                        const auto session = here();
                        if (!session) return;
                        --session->calls_;
                        *gathered += bytes;
                        session->gathered_ += bytes;
                        load->bytes += bytes;
                      },
                  .went_on =
                      [here] {
                        if (const auto session = here()) session->go_on();
                      },
                  .fits =
                      [here](std::size_t bytes) {
                        const auto session = here();
                        return session == nullptr || session->fits(bytes);
                      }});
    go_on();
  } catch (...) {
    going_on_ = false;
    pending_.reset();
    refuse(protocol::RpcCode::kExhausted, caught("a message was read").message);
  }
}

// Begins as many calls of the pending message as there is room for. Then reading may continue.
void Session::go_on() {
  if (going_on_) return;
  going_on_ = true;
  const auto self = shared_from_this();
  while (pending_ && pending_->more()) {
    const auto message = pending_;
    if (message->bytes() >= kMostReplyBytes) {
      message->refuse_rest(
          protocol::RpcCode::kExhausted,
          "The answers to this batch are longer than 1 MB already; ask for this in another one.");
    } else if (may_begin()) {
      message->begin([&](std::string_view method, const boost::json::value& params, Reply reply) {
        ++calls_;
        ++load_->calls;
        call_method(*self, method, params, std::move(reply));
      });
    } else {
      break;
    }
  }
  if (pending_ && !pending_->more()) pending_.reset();
  going_on_ = false;
  pump();
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
  pending_.reset();
  replies_.clear();
  load_->bytes -= unread();
  reply_bytes_ = gathered_ = 0;
  upload_.forget();
  moments_ = statuses_ = log_ = false;
  room_.publisher.remove(this);
  if (visitor_.device) room_.pairing.left(*visitor_.device);
  room_.stage.client_keys().gone(id_);
  room_.stage.player().gone(id_);
}

void Session::close() {
  const auto transport = transport_;
  closed();
  if (transport != nullptr) transport->close();
}

void Session::refuse(protocol::RpcCode code, std::string_view sentence) {
  keep_reply(std::make_shared<const std::string>(error_line(code, sentence)));
  closing_ = true;
  pump();
}

Shown Session::show_token(const std::optional<std::string>& token) {
  if (visitor_.trusted) return {.kind = Shown::Kind::kRight, .device = visitor_.device};
  if (!token) return {.kind = Shown::Kind::kWrong};
  const Shown shown = room_.pairing.show(*token, visitor_.address);
  if (shown.kind == Shown::Kind::kRight) {
    visitor_.trusted = true;
    visitor_.device = shown.device;
  }
  return shown;
}

takes::LineNumber Session::log_next() const {
  return log_ ? log_next_ : room_.publisher.log_end() + 1;
}

void Session::subscribe(Topics more, std::optional<takes::LineNumber> log_from) {
  if (more.moment) {
    moments_ = true;
    moment_ = room_.newest_moment();
  }
  if (more.status) {
    statuses_ = true;
    status_ = room_.newest_status();
  }
  if (more.log && (!log_ || log_from)) {
    log_ = true;
    const takes::LineNumber next = room_.publisher.log_end() + 1;
    log_next_ = log_from ? std::clamp<takes::LineNumber>(*log_from, 1, next) : next;
    replay_.clear();
  }
}

void Session::unsubscribe(Topics fewer) {
  if (fewer.moment) {
    moments_ = false;
    moment_ = nullptr;
  }
  if (fewer.status) {
    statuses_ = false;
    status_ = nullptr;
  }
  if (fewer.log) {
    log_ = false;
    replay_.clear();
  }
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
  room_.store.lines(
      {}, from, kReplayLines, {}, [weak = weak_from_this(), from](Result<std::vector<takes::Line>> lines) {
        const auto session = weak.lock();
        if (!session) return;
        session->fetching_ = false;
        // If the store failed, the position stays; the next growth of the log tries again.
        if (!session->log_ || !lines) return;
        if (session->log_next_ == from) {
          for (const takes::Line& line : *lines)
            session->replay_.emplace_back(line.number, log_message(line));
          if (lines->empty())
            session->log_next_ = session->room_.publisher.log_end() + 1;  // their file was replaced
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
    load_->bytes -= reply->size();
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
  const auto transport = transport_;  // keeps the transport alive while it is used
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
  if (pending_ && may_begin()) go_on();
  if (paused_ && has_room()) {
    paused_ = false;
    transport_->resume();
  }
}

}  // namespace undersong::server
