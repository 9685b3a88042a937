// Written bars for a whole take: one row of beats and bar lines that covers everything that was played. Tick
// 0 is the beginning of the take.
//
// Where there is a pulse, each beat of the take becomes one written beat, at its own time. Silences and free
// passages between two stretches of pulse get as many beats as needed for the bars to continue. What comes
// before the first beat is a lead-in. A silence of more than a thousand bars is written as a thousand. Where
// there is no pulse, each chord change begins a bar; a very long chord gets several.
//
// Units: Ticks and Micros, both from the beginning of the take.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <optional>
#include <vector>

#include "daemon/song/beat_map.h"
#include "daemon/song/meter.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/loop.h"

namespace undersong::song {

struct Bar {
  Ticks at;
  int beats = 4;
};

struct Bars {
  BeatMap map;             // one anchor for each beat; without a pulse, for each bar
  std::vector<Bar> bars;   // from tick 0 without gaps, to a bar line after the last note
  std::vector<bool> free;  // for each bar: true if some of its beats were not heard
  int meter = 4;
  BeatValue beat = BeatValue::kQuarter;  // on paper; set by study_take, as are the groups
  std::uint16_t groups = 0;
  bool pulse = false;
  bool barred = false;         // the player or a clock said where bars begin; the loop does not move them
  double seconds_a_beat = .5;  // median
  double swing = 1;            // as in harmony/feel.h: 1 is straight, 2 two to one

  Ticks end() const { return bars.empty() ? Ticks(0) : bars.back().at + bars.back().beats * kBeat; }
  std::size_t bar_at(Ticks tick) const;
  Meter written() const { return {meter, beat, groups}; }
};

// `end`: end of the take. Each pass of the loop begins a bar, unless somebody said where bars begin.
Bars bars_of(const takes::HeardTake& take, const takes::Beats& beats, const std::optional<takes::Loop>& loop,
             Micros end);

// Beats per bar. The beats decide, unless they found three or four, nobody said where bars begin, and the
// length of the loop fits only the other of these two.
int meter_of(const takes::Beats& beats, const std::optional<takes::Loop>& loop);

}  // namespace undersong::song
