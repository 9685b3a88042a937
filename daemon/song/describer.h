// Describer studies kept takes while nobody plays, the newest first, one at a time, and keeps with each what
// was found: its name, its picture, its loops, and the answers that would cost a study again. A take of which
// the player has said more since (a beat, a chord) is studied anew. So a list, a picture or the bars of an
// hour's take are there at once.
//
// Units: none.
// Threads: all calls come from the owner's thread (in the daemon `io`). Studies run on the thread behind
// `aside`, which must have stopped before this is destroyed; it should be one of low priority on which nobody
// waits, because an hour's take needs a few seconds.
// Errors: a take that cannot be studied is kept as it was and passed over until the next start. If the store
// cannot be read or written, it waits for the next `nudge`.
#pragma once

#include <atomic>
#include <functional>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "daemon/base/aside.h"
#include "daemon/song/take_study.h"
#include "daemon/takes/store.h"

namespace undersong::song {

class Describer {
 public:
  using Answers = std::vector<std::pair<std::string, std::string>>;
  struct World {
    takes::Store& store;  // its answers must arrive on the owner's thread
    Aside aside;
    // Called on the owner's thread: false while somebody plays.
    std::function<bool()> may_work;
    // Called on the thread behind `aside`: the study of a take, which somebody else may be making as well
    // (study_cache.h). `reached` throws when it is to be given up.
    std::function<std::shared_ptr<const TakeStudy>(const takes::Store::Midi&,
                                                   const takes::StudyReached& reached)>
        study;
    // Called on the thread behind `aside`: the answers to keep with a study, by name.
    std::function<Answers(const takes::Store::Midi&, const TakeStudy&)> answers;
    // Called on the owner's thread with the number of takes of which more is known, after kTellEvery at most.
    std::function<void(std::uint64_t takes)> studied;
  };
  static constexpr std::uint64_t kTellEvery = 20;

  explicit Describer(World world) : world_(std::move(world)) {}
  // Something may be to be done: at the start, when a take has ended, when something was said of one.
  void nudge();
  // Gives up the study that is under way, soon. Call it before the thread behind `aside` is stopped.
  void stop() { *stopped_ = true; }

 private:
  void next();
  void study(takes::TakeId take);
  void rest();
  void tell();

  const World world_;
  takes::TakeId before_ = ~takes::TakeId{0};
  bool busy_ = false, again_ = false;
  std::uint64_t untold_ = 0;
  const std::shared_ptr<std::atomic<bool>> stopped_ = std::make_shared<std::atomic<bool>>(false);
};

}  // namespace undersong::song
