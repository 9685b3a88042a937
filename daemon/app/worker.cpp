#include "daemon/app/worker.h"

#include <pthread.h>
#include <sys/resource.h>
#include <unistd.h>

namespace undersong::app {

Worker::Worker() : thread_([this] { loop(); }) {}

Worker::~Worker() {
  {
    const std::lock_guard lock(mutex_);
    stopping_ = true;
  }
  more_.notify_one();
  thread_.join();
}

bool Worker::run(std::function<void()> job) {
  {
    const std::lock_guard lock(mutex_);
    if (waiting_.size() >= kMostWaiting) return false;
    waiting_.push_back(std::move(job));
  }
  more_.notify_one();
  return true;
}

void Worker::loop() {
  pthread_setname_np(pthread_self(), "aside");
  setpriority(PRIO_PROCESS, static_cast<id_t>(gettid()), 10);
  for (;;) {
    std::unique_lock lock(mutex_);
    more_.wait(lock, [this] { return stopping_ || !waiting_.empty(); });
    if (stopping_) return;
    const auto job = std::move(waiting_.front());
    waiting_.pop_front();
    lock.unlock();
    job();
  }
}

}  // namespace undersong::app
