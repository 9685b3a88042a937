// Worker: one thread for long jobs, of low priority unless said otherwise, with a bounded queue of waiting
// jobs.
//
//   Worker worker("study");
//   if (!worker.run([] { ... })) ...;   // the queue is full
//
// `stop` and the destructor wait for the running job to end and drop the waiting ones.
//
// Units: kMostWaiting counts jobs.
// Threads: any thread may call `run`. Jobs run one after another on the worker's own thread. One owner calls
// `stop` and the destructor, from another thread than the worker's.
// Errors: `run` returns false when the queue is full or the worker is stopping. When a job throws, it ends
// there: `failed` is called with one sentence on the worker's thread, and the next job starts. A job that
// owes a caller an answer must catch its own exceptions.
// Source: none needed.
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
  // A job. Runs on the worker's thread.
  using Work = std::function<void()>;

  // Called on the worker's thread when a job threw.
  using Failed = std::function<void(const Error& error)>;
  struct Options {
    int nice = 15;  // as nice(2); with 15 everything else comes first
    std::size_t most_waiting = kMostWaiting;
  };
  // `name` is the thread's name; the system shows at most 15 bytes of it.
  explicit Worker(std::string name, Failed failed = {}) : Worker(std::move(name), std::move(failed), {}) {}
  Worker(std::string name, Failed failed, Options options);
  ~Worker() { stop(); }
  Worker(const Worker&) = delete;
  Worker& operator=(const Worker&) = delete;

  // Queues a job; false when the queue is full or the worker is stopping.
  bool run(Work work);
  // Waits for the running job, drops the waiting ones and joins the thread. May be called twice.
  void stop();

 private:
  void loop(const std::string& name);

  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Work> waiting_;  // guarded by mutex_; callers add, the worker takes
  bool stopping_ = false;     // guarded by mutex_; written by stop, read by all
  const Failed failed_;
  const Options options_;
  std::thread thread_;
};

}  // namespace undersong
