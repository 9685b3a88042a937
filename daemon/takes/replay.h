// A span of a take as a score for a MIDI output.
//
// Pedals, pitch bend and controllers that were set before the span are set at its beginning. Notes that began
// before it are not played, unless `held` is true; then every note that sounds at the beginning is struck
// there. Program changes, bank selects and channel volume are left out, because another instrument plays the
// score and its owner sets its volume. Loudness: if the take's mean velocity is above `mean`, all velocities
// are scaled down to that mean; a soft take stays as it is.
//
// Units: Micros; `from` and `to` on the clock of the events, the score from 0.
// Threads: pure; call it from any thread.
// Errors: none; the function is total.
// Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/midi/sender.h"

namespace undersong::takes {

midi::Score replay(const std::vector<midi::Event>& events, Micros from, Micros to, Velocity mean,
                   bool held = false);

}  // namespace undersong::takes
