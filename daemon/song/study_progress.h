// How far the study is that somebody waits for, and the way to give it up.
//
// Units: shares of the work, 0..1.
// Threads: any. One study at a time is under way.
// Errors: reach() throws StudyGivenUp when somebody gave the study up; base/aside.h makes it a sentence.
#pragma once

#include <mutex>
#include <optional>
#include <stdexcept>

#include "daemon/takes/log_line.h"

namespace undersong::song {

class StudyGivenUp : public std::runtime_error {
 public:
  StudyGivenUp() : std::runtime_error("it was given up") {}
};

class StudyProgress {
 public:
  // A study is under way as long as this lives.
  class Under {
   public:
    Under(StudyProgress& progress, takes::TakeId take) : progress_(progress) { progress_.begin(take); }
    ~Under() { progress_.end(); }
    Under(const Under&) = delete;
    Under& operator=(const Under&) = delete;

   private:
    StudyProgress& progress_;
  };

  void reach(double share) {
    const std::lock_guard lock(mutex_);
    if (given_up_) throw StudyGivenUp();
    done_ = share;
  }
  // How much of the study of this take is done; nullopt if it is not under way.
  std::optional<double> of(takes::TakeId take) const {
    const std::lock_guard lock(mutex_);
    return take_ == take ? std::optional(done_) : std::nullopt;
  }
  // False if it is not under way.
  bool give_up(takes::TakeId take) {
    const std::lock_guard lock(mutex_);
    if (take_ != take) return false;
    given_up_ = true;
    return true;
  }

 private:
  void begin(takes::TakeId take) {
    const std::lock_guard lock(mutex_);
    take_ = take, done_ = 0, given_up_ = false;
  }
  void end() {
    const std::lock_guard lock(mutex_);
    take_.reset();
  }

  mutable std::mutex mutex_;
  std::optional<takes::TakeId> take_;
  double done_ = 0;
  bool given_up_ = false;
};

}  // namespace undersong::song
