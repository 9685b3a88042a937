#include "daemon/base/worker.h"

#include <pthread.h>
#include <sys/resource.h>
#include <unistd.h>

#include <utility>

#include "daemon/base/caught.h"

namespace undersong {

Worker::Worker(std::string name, Failed failed, Options options)
    : failed_(std::move(failed)),
      options_(options),
      thread_([this, name = std::move(name)] { loop(name); }) {}

bool Worker::run(Work work) {
  {
    const std::lock_guard lock(mutex_);
    if (stopping_ || waiting_.size() >= options_.most_waiting) return false;
    waiting_.push_back(std::move(work));
  }
  changed_.notify_one();
  return true;
}

void Worker::stop() {
  std::deque<Work> dropped;  // destroyed after the lock is released
  {
    const std::lock_guard lock(mutex_);
    stopping_ = true;
    dropped.swap(waiting_);
  }
  changed_.notify_one();
  dropped.clear();
  if (thread_.joinable()) thread_.join();
}

void Worker::loop(const std::string& name) {
  pthread_setname_np(pthread_self(), name.substr(0, 15).c_str());
  if (options_.nice != 0) setpriority(PRIO_PROCESS, static_cast<id_t>(gettid()), options_.nice);
  for (;;) {
    Work work;
    {
      std::unique_lock lock(mutex_);
      changed_.wait(lock, [&] { return stopping_ || !waiting_.empty(); });
      if (stopping_) return;
      work = std::move(waiting_.front());
      waiting_.pop_front();
    }
    try {
      work();
    } catch (...) {
      try {
        if (failed_) failed_(caught("something was worked out aside"));
      } catch (...) {  // there is no memory left even for the message
      }
    }
  }
}

}  // namespace undersong
