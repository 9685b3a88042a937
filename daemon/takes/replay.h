// A span of a take as a score for a MIDI output.
//
// What was held or bent before the span (pedals, pitch bend, controllers) is set at its beginning; notes that
// began before it are not struck again, unless `held`: then what sounds at its beginning is struck there.
// Program changes, banks and channel volume are left out: the instrument that plays it is another, and its
// loudness is its owner's. Loudness: where the take's mean velocity is above `mean`, all velocities are
// scaled down to it; a soft take stays as it is.
//
// Threads: pure. Times: Micros; `from` and `to` on the clock of the events. Source: common practice, no
// source.
#pragma once

#include <vector>

#include "daemon/midi/sender.h"

namespace undersong::takes {

midi::Score replay(const std::vector<midi::Event>& events, Micros from, Micros to, Velocity mean,
                   bool held = false);

}  // namespace undersong::takes
