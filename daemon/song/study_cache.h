// The studies of the takes that were worked on last, so that asking again costs nothing, and those under way,
// so that no two threads do the same work.
//
// A study holds as long as its take's log has not grown: what is said of the beat after a take has ended
// makes a new one. Times in a study count from the take's own beginning.
//
// Threads: any. Who asks for a study that another thread is making waits for it, and gets the same one.
// Errors: those of study_take, for all that wait; StudyGivenUp.
#pragma once

#include <cstdint>
#include <future>
#include <list>
#include <memory>
#include <mutex>

#include "daemon/song/study_progress.h"
#include "daemon/song/take_study.h"
#include "daemon/takes/store.h"

namespace undersong::song {

// The take on its own clock: 0 is its beginning.
Played own_time(const takes::Store::Midi& take);

class StudyCache {
 public:
  static constexpr std::size_t kRemembered = 4;
  using Study = std::shared_ptr<const TakeStudy>;

  // For somebody who waits: the study is remembered.
  Study of(const takes::Store::Midi& take) { return study(take, true, {}); }
  // For nobody in particular: it is remembered only if somebody asked for one of this take. `reached` is
  // called with the share of the work that is done, and may throw to give the study up.
  Study in_passing(const takes::Store::Midi& take, const takes::StudyReached& reached) {
    return study(take, false, reached);
  }
  // How far those under way are.
  StudyProgress& progress() { return progress_; }

 private:
  struct Key {
    takes::TakeId take;
    takes::LineNumber last_line;
    std::size_t said;  // lines on its beat: they may come after it has ended
    friend bool operator==(const Key&, const Key&) = default;
  };
  struct Remembered {
    Key key;
    Study study;
  };
  struct UnderWay {
    Key key;
    std::shared_future<Study> study;
    bool wanted;  // somebody waits for it
  };
  Study study(const takes::Store::Midi& take, bool wanted, const takes::StudyReached& reached);
  void remember(const Key& key, Study study);

  std::mutex mutex_;
  std::list<Remembered> remembered_;  // newest first; guarded by mutex_
  std::list<UnderWay> under_way_;     // guarded by mutex_
  StudyProgress progress_;
};

}  // namespace undersong::song
