// A helper: a second thread for half of one computation. It lives within the scope that needs it.
//
//   Helper<double> by_chance("aside-2", [&] { return score(shaken); });
//   const auto path = best_path(...);       // meanwhile
//   use(path, by_chance.get());
//
// It has the priority of the thread that makes it. Where the system has no thread to spare, `get` does the
// work itself. Threads: one owner. Errors: what the job throws, `get` throws. The destructor waits for the
// job's end.
#pragma once

#include <pthread.h>

#include <functional>
#include <future>
#include <system_error>
#include <thread>
#include <utility>

namespace undersong {

template <class T>
class Helper {
 public:
  // `name`: at most 15 letters, as the system shows it.
  Helper(const char* name, std::function<T()> job) : task_(std::move(job)), result_(task_.get_future()) {
    try {
      thread_ = std::jthread([this, name] {
        pthread_setname_np(pthread_self(), name);
        task_();
      });
    } catch (const std::system_error&) {  // none to be had: see get
    }
  }
  Helper(const Helper&) = delete;
  Helper& operator=(const Helper&) = delete;

  // REQUIRES: not called before.
  T get() {
    if (thread_.joinable())
      thread_.join();
    else
      task_();
    return result_.get();
  }

 private:
  std::packaged_task<T()> task_;
  std::future<T> result_;
  std::jthread thread_;  // last: it uses what stands above
};

}  // namespace undersong
