// A cache of the studies of the takes that were used last, so that asking again costs nothing.
//
// A study stays valid until its take's log grows. A line about the beat that is added after the take has
// ended also makes a new study.
//
// Units: times in a study are Micros from the beginning of the take.
// Threads: a Studies object is used by one thread at a time, in the daemon the thread "aside". The studies it
// returns are constant and may be read by any thread.
// Errors: none.
#pragma once

#include <list>
#include <memory>

#include "daemon/song/take_study.h"
#include "daemon/takes/store.h"

namespace undersong::song {

// The take with times from its own beginning. Times from a damaged log are clamped to the take.
Played own_time(const takes::Store::Midi& take);

class Studies {
 public:
  static constexpr std::size_t kRemembered = 4;
  std::shared_ptr<const TakeStudy> of(const takes::Store::Midi& take);

 private:
  struct Remembered {
    takes::TakeId take;
    takes::LineNumber last_line;
    std::size_t said;  // number of lines about the beat, which may be added after the take has ended
    std::shared_ptr<const TakeStudy> study;
  };
  std::list<Remembered> remembered_;  // newest first
};

}  // namespace undersong::song
