// Publisher: sends every client the newest state and the new lines of the log.
//
// A state message is made once and shared by all clients; each session keeps at most one unread message of
// each kind. The newest lines of the log are kept here (kTailLines, kTailBytes); older ones are read from the
// store. A session keeps only its position in the log.
//
//   publisher.moment(message);
//   publisher.log(lines);
//
// Threads: the io thread.
// Errors: none. Nothing throws except when memory runs out.
#pragma once

#include <deque>
#include <functional>
#include <memory>
#include <vector>

#include "daemon/server/buffer.h"
#include "daemon/takes/log_line.h"

namespace undersong::server {

class Session;

class Publisher {
 public:
  static constexpr std::size_t kTailLines = 4096;
  static constexpr std::size_t kTailBytes = 2u << 20;

  void add(std::shared_ptr<Session> session);
  void remove(const Session* session);
  std::size_t sessions() const { return sessions_.size(); }
  void close_all();
  const std::vector<std::shared_ptr<Session>>& all() const { return sessions_; }
  // Closes the sessions for which `which` holds.
  void close_if(const std::function<bool(const Session&)>& which);

  // True if a client subscribed to moments, so that the message must be made.
  bool moment_wanted() const;
  void moment(Buffer message);
  void status(Buffer message);
  // Lines that are now on disk. Their numbers continue those of the last call, unless a new file was begun.
  void log(const std::vector<takes::Line>& lines);

  // The number of the newest line on disk. Set once, when the store has been opened.
  void set_log_end(takes::LineNumber last) { last_ = last; }
  takes::LineNumber log_end() const { return last_; }
  // The message of a line; null if the line must be read from the store.
  Buffer line(takes::LineNumber number) const;

 private:
  std::vector<std::shared_ptr<Session>> sessions_;
  std::deque<Buffer> tail_;  // messages of the lines last_ - tail_.size() + 1 .. last_
  std::size_t tail_bytes_ = 0;
  takes::LineNumber last_ = 0;
};

}  // namespace undersong::server
