// Where written beats fall in the time that was played: a line through points that are known to belong
// together, straight from point to point, and beyond the ends at the pace of the nearest two.
//
// Threads: plain values. Total: without two points a beat lasts half a second.
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
  // In any order; of anchors that don't advance in both time and ticks the first is kept.
  explicit BeatMap(std::vector<Anchor> anchors);

  double beats_at(Micros at) const;  // beats as a fraction, tick 0 is beat 0
  Micros time_at(Ticks tick) const;
  double seconds_a_beat(Micros at) const;
  const std::vector<Anchor>& anchors() const { return anchors_; }

 private:
  std::size_t segment(Micros at) const;  // anchors_[i], anchors_[i + 1] are what counts at this time
  std::vector<Anchor> anchors_;
};

}  // namespace undersong::song
