// Maps played time to written beats and back: a line through anchors, points whose time and tick are both
// known. It is straight between anchors, and beyond the ends it continues at the pace of the nearest two.
//
//   const BeatMap map({{Micros(0), Ticks(0)}, {Micros(2'000'000), Ticks(1920)}});
//   map.beats_at(Micros(1'000'000));  // 2.0
//
// Units: Micros of the take; Ticks; beats as fractions.
// Threads: plain values; any thread may read them.
// Errors: none; all functions are total. With fewer than two anchors a beat lasts half a second.
// Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/harmony/pitch.h"
#include "daemon/song/ticks.h"

namespace undersong::song {

struct Anchor {
  Micros at{};
  Ticks tick;
};

class BeatMap {
 public:
  BeatMap() = default;
  // `anchors` may be in any order. An anchor that does not advance in both time and ticks is dropped.
  explicit BeatMap(std::vector<Anchor> anchors);

  double beats_at(Micros at) const;  // tick 0 is beat 0
  Micros time_at(Ticks tick) const;
  double seconds_a_beat(Micros at) const;
  const std::vector<Anchor>& anchors() const { return anchors_; }

 private:
  // Index i such that anchors_[i] and anchors_[i + 1] apply at this time.
  std::size_t segment(Micros at) const;
  std::vector<Anchor> anchors_;
};

}  // namespace undersong::song
