// What the player, or a clock, said of a take's beats, kept as log lines; and the beats with that applied.
//
// The lines are of kind kBeat, their data a JSON object: {"what": word, "interval_us", "meter" where they
// belong}. They apply in order; `undo` takes the newest one back that is not a clock's and not yet taken
// back.
//   tap      beats are about interval_us long, and one falls here: the level of the beats is chosen by it
//   clock    another machine's bar begins here, its beats interval_us long: its beats rule until the next
//   such line; with
//            "place", here falls that beat of its bar (1 is the second): the clock ran before the take began
//   one      the beat nearest to here begins a bar        meter    bars of `meter` beats from here both ways
//   twice    twice as many beats                          half     half as many
// A line that would bring the tempo out of 20 to 400 beats a minute is passed over, and `undo` does not count
// it: such lines were kept once, and a take that has them opens as any other.
//
// Threads: pure. Errors: a damaged line is passed over. Times: Micros of the take. Source: common practice,
// no source.
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
  Micros interval{};  // tap, clock
  int meter = 0;      // clock, meter; one, where it is said too
  int place = 0;      // clock: in the bar, from 0
};

std::string beat_data(const BeatLine& line);
Entry beat_said(const BeatLine& line);
std::optional<BeatLine> beat_line(const Line& line);

Beats corrected(Beats beats, const std::vector<Line>& lines);
// Why kTwice or kHalf can't be said of take `take`, whose beats these are; nothing when it can.
std::optional<Error> refused(const Beats& beats, BeatWord what, TakeId take);

}  // namespace undersong::takes
