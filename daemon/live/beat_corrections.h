// The player's corrections of beats: of what is being played, where they hold at once, and of kept takes,
// whose study is then made anew with them. Each is a line of the log.
//
// What is said is checked here: the time lies within what is played or the take, and the tempo stays within
// its limits. Threads: the io thread; answers are given there, when the line is on disk. Errors: one
// sentence.
#pragma once

#include <optional>
#include <string>

#include "daemon/live/performance.h"
#include "daemon/live/take_recorder.h"
#include "daemon/song/studies.h"

namespace undersong::live {

struct CorrectionWish {
  takes::BeatWord what = takes::BeatWord::kOne;
  int meter = 0;                      // kMeter; kOne, where it is said too
  std::optional<takes::TakeId> take;  // what is being played where left out
  std::optional<Micros> at;           // now where left out
  std::string at_name = "the time";   // what `at` is called in errors
};

struct Corrected {
  std::optional<takes::LineNumber> number;  // the line that keeps it; none when no take is being played
  std::optional<listen::BeatNow> beat;      // as it is now
};

class BeatCorrections {
 public:
  template <class T>
  using Answer = takes::Store::Answer<T>;
  struct World {  // outlives this
    Performance& performance;
    TakeRecorder& recorder;
    song::Studies& studies;
  };
  explicit BeatCorrections(World world) : world_(world) {}

  void correct(const CorrectionWish& wish, Answer<Corrected> answer);

 private:
  void correct_played(const CorrectionWish& wish, Answer<Corrected> answer);
  void correct_kept(const CorrectionWish& wish, takes::TakeId take, Answer<Corrected> answer);
  Answer<takes::LineNumber> with_beat(Answer<Corrected> answer);

  const World world_;
};

}  // namespace undersong::live
