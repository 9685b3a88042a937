// The bass line of a loop: where the bass moves on below a chord that stays, in most passes, the loop gets a
// chord with that bass: C (4) with C, then B in the bass becomes C, C/B.
//
// A bass that goes to the fifth and back, or walks, is accompaniment and stays out of the chords.
//
// Units: Micros of the take.
// Threads: pure functions; call them from any thread.
// Errors: none; a loop without such a line is left as it is.
// Source: common practice, no source; the thresholds are our own.
#pragma once

#include "daemon/takes/loop.h"

namespace undersong::takes {

void add_bass_line(Loop& loop, const HeardTake& take);

}  // namespace undersong::takes
