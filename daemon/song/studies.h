// The one way to the study of a kept take (take_study.h). It fetches the take from the store, listens to it
// again on the thread "aside" or takes the study from a cache, and answers on the owner's thread. Loops,
// beats, other chords, parts, sketches, playing along and corrections all go through here.
//
//   studies.with_study<Loop>(12, answer,
//                            [](const takes::Store::Midi& take, const TakeStudy& study) -> Result<Loop> { ...
//                            });
//
// Units: times in a study are Micros from the beginning of the take.
// Threads: call everything but `of` and `in_passing` on the owner's thread. Jobs run on the thread "aside",
// which must have stopped before this object goes. Studies are constant and may be read by any thread.
// Errors: those of the store, of the job, and of base/aside.h; one sentence each.
#pragma once

#include <functional>
#include <memory>
#include <optional>

#include "daemon/song/study_cache.h"
#include "daemon/takes/fetcher.h"

namespace undersong::song {

class Studies {
 public:
  using Midi = takes::Store::Midi;
  template <class T>
  using Answer = takes::Store::Answer<T>;

  // The store outlives this. `aside`: one thread, of low priority: an hour's take needs a second or two.
  Studies(takes::Store& store, Aside aside) : fetcher_(store, std::move(aside)) {}

  takes::Fetcher& fetcher() { return fetcher_; }
  StudyProgress& progress() { return cache_.progress(); }

  // The newest take that is not deleted without a number.
  template <class T>
  void with_study(std::optional<takes::TakeId> take, Answer<T> answer,
                  std::function<Result<T>(const Midi&, const TakeStudy&)> job) {
    fetcher_.with_take<T>(take, std::move(answer), [this, job = std::move(job)](const Midi& midi) {
      return job(midi, *cache_.of(midi));
    });
  }

  // For jobs that have the take at hand, on any thread that may wait.
  std::shared_ptr<const TakeStudy> of(const Midi& take) { return cache_.of(take); }
  // For those on which nobody waits. `reached` may throw to give the study up.
  std::shared_ptr<const TakeStudy> in_passing(const Midi& take, const takes::StudyReached& reached) {
    return cache_.in_passing(take, reached);
  }

 private:
  takes::Fetcher fetcher_;
  StudyCache cache_;
};

}  // namespace undersong::song
