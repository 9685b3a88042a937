// Bars over a whole take: one row of written beats and bar lines for all that was played, tick 0 at the
// take's beginning.
//
// Where there is a pulse, beat k of the take is a whole beat here, at its own time. Silences and free
// passages between two stretches of pulse get so many beats that bars go on. What comes before the first beat
// is a lead-in. Where there is no pulse, each chord change begins a bar (a very long chord takes several).
//
// Threads: pure. Total. Source: common practice, no source.
#pragma once

#include <optional>
#include <vector>

#include "daemon/song/beat_map.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/loop.h"

namespace undersong::song {

struct Bar {
  Ticks at;
  int beats = 4;
};

struct Bars {
  BeatMap map;             // an anchor for each beat (each bar, without pulse)
  std::vector<Bar> bars;   // from tick 0, without gaps, to beyond the last note
  std::vector<bool> free;  // for each bar: no beat was heard in it
  int meter = 4;
  bool pulse = false;
  bool barred = false;         // the player or a clock said where bars begin; the loop has no say
  double seconds_a_beat = .5;  // median

  Ticks end() const { return bars.empty() ? Ticks(0) : bars.back().at + bars.back().beats * kBeat; }
  std::size_t bar_at(Ticks tick) const;
};

// `end`: of the take. Passes of the loop begin bars, unless it was said where bars begin.
Bars bars_of(const takes::HeardTake& take, const takes::Beats& beats, const std::optional<takes::Loop>& loop,
             Micros end);

// The meter of a take: the one its beats have, unless nobody said so and the loop's chords fit the other one
// alone.
int meter_of(const takes::Beats& beats, const std::optional<takes::Loop>& loop);

}  // namespace undersong::song
