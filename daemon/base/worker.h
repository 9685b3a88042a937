// One thread for work that takes long, of low priority unless said otherwise, with a bounded line of what
// waits.
//
//   Worker worker("study");
//   if (!worker.run([] { ... })) ...;   // the line is full
//
// Threads: any thread may call `run`; the work runs on the worker's own, one after another. `stop` and the
// destructor wait for the work under way and drop what waits. Errors: work that throws is given up, `failed`
// is told why in one sentence, on the worker's own thread, and the next piece is begun. Whoever owes somebody
// an answer catches by itself.
#pragma once

#include <condition_variable>
#include <cstddef>
#include <deque>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <utility>

#include "daemon/base/result.h"

namespace undersong {

class Worker {
 public:
  static constexpr std::size_t kMostWaiting = 32;
  using Work = std::function<void()>;

  using Failed = std::function<void(const Error& error)>;
  struct Options {
    int nice = 15;  // as nice(2); with 15 everything else comes first
    std::size_t most_waiting = kMostWaiting;
  };
  // `name`: at most 15 letters, as the system shows it.
  explicit Worker(std::string name, Failed failed = {}) : Worker(std::move(name), std::move(failed), {}) {}
  Worker(std::string name, Failed failed, Options options);
  ~Worker() { stop(); }
  Worker(const Worker&) = delete;
  Worker& operator=(const Worker&) = delete;

  bool run(Work work);
  void stop();

 private:
  void loop(const std::string& name);

  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Work> waiting_;  // mutex_
  bool stopping_ = false;     // mutex_
  const Failed failed_;
  const Options options_;
  std::thread thread_;
};

}  // namespace undersong
