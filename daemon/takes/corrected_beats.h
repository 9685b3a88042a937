// What the player or an external MIDI clock said about a take's beats, stored as log lines; and the beats
// with that applied.
//
// Lines have kind kBeat. Their data are a JSON object: {"what": word, "interval_us", "meter", "place"}, each
// member only where it applies:
//
//   tap     a beat falls here and lasts about interval_us; this selects the metrical level
//   clock   the external clock starts a bar here, with beats of interval_us; its beats replace the found ones
//           until the next clock line. With "place" this is that beat of the bar (1 is the second): the clock
//           was running before the take began.
//   one     the beat nearest to here begins a bar
//   meter   bars have `meter` beats from here, in both directions
//   twice   twice as many beats
//   half    half as many beats
//   undo    takes back the newest line that is not from a clock and was not taken back before
//
// A tap directly after a tap replaces it. Lines apply in log order. A `twice` or `half` that would take the
// tempo out of 20 to 400 beats per minute is ignored, and `undo` skips it. Such lines exist in older logs,
// and those takes must still open.
//
// Units: Micros of the take.
// Threads: pure functions; call them from any thread.
// Errors: damaged lines are ignored. `refused` returns one sentence for people.
// Source: common practice, no source.
#pragma once

#include <optional>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

enum class BeatWord : std::uint8_t { kTap, kClock, kOne, kTwice, kHalf, kMeter, kUndo };

struct BeatLine {
  Micros at{};
  BeatWord what = BeatWord::kOne;
  Micros interval{};  // length of a beat; tap and clock
  int meter = 0;      // 1..16; clock and meter; for `one` only if it was said
  int place = 0;      // clock: beat within the bar, from 0
};

std::string beat_data(const BeatLine& line);
Entry beat_said(const BeatLine& line);
// Returns nullopt if the line has another kind or is damaged.
std::optional<BeatLine> beat_line(const Line& line);

// `lines`: in log order; lines of other kinds are ignored.
Beats corrected(Beats beats, const std::vector<Line>& lines);
// Why kTwice or kHalf is not possible for take `take`, whose beats these are; nullopt if it is possible.
std::optional<Error> refused(const Beats& beats, BeatWord what, TakeId take);

}  // namespace undersong::takes
