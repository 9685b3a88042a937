// The studies of the takes that were worked on last, so that asking again costs nothing.
//
// A study holds as long as its take's log has not grown: what is said of the beat after a take has ended
// makes a new one. Times in a study count from the take's own beginning. Threads: one at a time, that of
// whoever works aside; the studies themselves may be read anywhere. Errors: none.
#pragma once

#include <list>
#include <memory>

#include "daemon/song/study_progress.h"
#include "daemon/song/take_study.h"
#include "daemon/takes/store.h"

namespace undersong::song {

// The take on its own clock: 0 is its beginning.
Played own_time(const takes::Store::Midi& take);

class StudyCache {
 public:
  static constexpr std::size_t kRemembered = 4;
  std::shared_ptr<const TakeStudy> of(const takes::Store::Midi& take);
  // How far it is; any thread may ask.
  StudyProgress& progress() { return progress_; }

 private:
  struct Remembered {
    takes::TakeId take;
    takes::LineNumber last_line;
    std::size_t said;  // lines on its beat: they may come after it has ended
    std::shared_ptr<const TakeStudy> study;
  };
  std::list<Remembered> remembered_;  // newest first
  StudyProgress progress_;
};

}  // namespace undersong::song
