#include "daemon/server/publisher.h"

#include <algorithm>

#include "daemon/server/session.h"
#include "daemon/server/wire.h"

namespace undersong::server {

void Publisher::add(std::shared_ptr<Session> session) {
  sessions_.push_back(std::move(session));
}

void Publisher::remove(const Session* session) {
  std::erase_if(sessions_, [&](const auto& s) { return s.get() == session; });
}

void Publisher::close_all() {
  // A copy, because closing a session removes it from the list.
  const auto all = sessions_;
  for (const auto& session : all) session->close();
}

void Publisher::close_if(const std::function<bool(const Session&)>& which) {
  const auto all = sessions_;
  for (const auto& session : all)
    if (which(*session)) session->close();
}

bool Publisher::moment_wanted() const {
  return std::any_of(sessions_.begin(), sessions_.end(), [](const auto& s) { return s->wants_moments(); });
}

// A failed write closes the session and removes it from the list. The loop runs backwards, so that it skips
// no other session.
void Publisher::moment(Buffer message) {
  for (std::size_t i = sessions_.size(); i-- > 0;)
    if (i < sessions_.size()) std::shared_ptr(sessions_[i])->offer_moment(message);
}

void Publisher::status(Buffer message) {
  for (std::size_t i = sessions_.size(); i-- > 0;)
    if (i < sessions_.size()) std::shared_ptr(sessions_[i])->offer_status(message);
}

void Publisher::log(const std::vector<takes::Line>& lines) {
  for (const takes::Line& line : lines) {
    if (line.number != last_ + 1) {  // another file was begun
      tail_.clear();
      tail_bytes_ = 0;
    }
    Buffer message = log_message(line);  // made first, because it may throw
    const std::size_t bytes = message->size();
    tail_.push_back(std::move(message));  // it may throw too
    tail_bytes_ += bytes;
    last_ = line.number;
    while (tail_.size() > kTailLines || tail_bytes_ > kTailBytes) {
      tail_bytes_ -= tail_.front()->size();
      tail_.pop_front();
    }
  }
  for (std::size_t i = sessions_.size(); i-- > 0;)
    if (i < sessions_.size()) std::shared_ptr(sessions_[i])->log_grew();
}

Buffer Publisher::line(takes::LineNumber number) const {
  const takes::LineNumber first = last_ + 1 - tail_.size();
  if (number < first || number > last_) return nullptr;
  return tail_[static_cast<std::size_t>(number - first)];
}

}  // namespace undersong::server
