// A thread for work that takes long, such as finding the loop of an hour of playing: `io` must answer within
// milliseconds, and the store's thread must go on committing what is being played meanwhile.
//
// Threads: run from any; jobs one after another, on the thread named "aside", which gives way to all others. At most
// kMostWaiting wait. Destruction waits for the job at hand and drops the rest.
#pragma once

#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <thread>

namespace undersong::app {

class Worker {
 public:
  static constexpr std::size_t kMostWaiting = 16;
  Worker();
  ~Worker();
  Worker(const Worker&) = delete;
  Worker& operator=(const Worker&) = delete;

  // False when too many wait.
  bool run(std::function<void()> job);

 private:
  void loop();
  std::mutex mutex_;  // waiting_, stopping_
  std::condition_variable more_;
  std::deque<std::function<void()>> waiting_;
  bool stopping_ = false;
  std::thread thread_;
};

}  // namespace undersong::app
