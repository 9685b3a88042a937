// What goes to all clients: the newest state, and the end of the log.
//
// A state message is made once and shared; each session keeps at most one unread of a kind. Of the log the
// newest lines are at hand (kTailLines, kTailBytes), older ones are read from the store. A session keeps a
// position in the log, no lines. Threads: the io thread. Errors: none.
#pragma once

#include <deque>
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

  // True when somebody wants moments, so that they must be made.
  bool moment_wanted() const;
  void moment(Buffer message);
  void status(Buffer message);
  // Lines that are on disk now; numbers go on from the last call.
  void log(const std::vector<takes::Line>& lines);

  // The newest line there is; set once when the store has been opened.
  void set_log_end(takes::LineNumber last) { last_ = last; }
  takes::LineNumber log_end() const { return last_; }
  // A line at hand; null: ask the store.
  Buffer line(takes::LineNumber number) const;

 private:
  std::vector<std::shared_ptr<Session>> sessions_;
  std::deque<Buffer> tail_;  // of lines last_ - tail_.size() + 1 .. last_
  std::size_t tail_bytes_ = 0;
  takes::LineNumber last_ = 0;
};

}  // namespace undersong::server
