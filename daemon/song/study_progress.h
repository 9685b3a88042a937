// How far the studies are that are under way, and the way to give one up.
//
// Units: shares of the work, 0..1.
// Threads: any.
// Errors: Under::reach throws StudyGivenUp when somebody gave the study up; base/aside.h makes it a sentence.
#pragma once

#include <algorithm>
#include <mutex>
#include <optional>
#include <stdexcept>
#include <vector>

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
    Under(StudyProgress& progress, takes::TakeId take) : progress_(progress), take_(take) {
      const std::lock_guard lock(progress_.mutex_);
      progress_.under_way_.push_back(this);
    }
    ~Under() {
      const std::lock_guard lock(progress_.mutex_);
      std::erase(progress_.under_way_, this);
    }
    Under(const Under&) = delete;
    Under& operator=(const Under&) = delete;

    void reach(double share) {
      const std::lock_guard lock(progress_.mutex_);
      if (given_up_) throw StudyGivenUp();
      done_ = share;
    }

   private:
    friend class StudyProgress;
    StudyProgress& progress_;
    const takes::TakeId take_;
    double done_ = 0;  // guarded by the mutex of progress_, as the next
    bool given_up_ = false;
  };

  // How much of the study of this take is done; nullopt if it is not under way.
  std::optional<double> of(takes::TakeId take) const {
    const std::lock_guard lock(mutex_);
    const auto it = find(take);
    return it == under_way_.end() ? std::nullopt : std::optional((*it)->done_);
  }
  // False if it is not under way.
  bool give_up(takes::TakeId take) {
    const std::lock_guard lock(mutex_);
    const auto it = find(take);
    if (it == under_way_.end()) return false;
    (*it)->given_up_ = true;
    return true;
  }

 private:
  // The newest: after a correction an older one may still go on.
  std::vector<Under*>::const_iterator find(takes::TakeId take) const {
    const auto it = std::find_if(under_way_.rbegin(), under_way_.rend(),
                                 [take](const Under* each) { return each->take_ == take; });
    return it == under_way_.rend() ? under_way_.end() : std::next(it).base();
  }

  mutable std::mutex mutex_;
  std::vector<Under*> under_way_;  // guarded by mutex_
};

}  // namespace undersong::song
