// BeatCorrections: the player's corrections of the beat. A correction of what is being played takes effect at
// once. A correction of a kept take makes the next study of that take apply it.
//
//   corrections.correct({.what = takes::BeatWord::kMeter, .meter = 3}, [](Result<Corrected> done) { ... });
//
// The correction is checked first: its time must lie within what is being played or within the take, and the
// tempo must stay within its limits (listen/tempo.h). It is then written as one line of the log. If no take
// is being played, the correction takes effect but no line is written.
//
// Units: Micros on the clock of the run that made the take.
// Threads: the io thread only. Answers are given there: with a line, when it is on disk; otherwise during the
// call or after the study.
// Errors: one sentence.
#pragma once

#include <optional>
#include <string>

#include "daemon/live/performance.h"
#include "daemon/live/take_recorder.h"
#include "daemon/song/studies.h"

namespace undersong::live {

struct CorrectionWish {
  takes::BeatWord what = takes::BeatWord::kOne;
  int meter = 0;                      // beats per bar, 1..16: for kMeter, and for kOne if given; 0: not given
  std::optional<takes::TakeId> take;  // if empty, what is being played
  std::optional<Micros> at;           // if empty, now; kOne and kMeter of a kept take need a time
  std::string at_name = "the time";   // the name of `at` in errors
};

struct Corrected {
  std::optional<takes::LineNumber> number;  // the line in the log; empty if no take is being played
  std::optional<listen::BeatNow> beat;      // the current beat of what is being played
};

class BeatCorrections {
 public:
  template <class T>
  using Answer = takes::Store::Answer<T>;
  struct World {  // all outlive this object
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
