// The chords of a take as one would write them down afterwards: without short-lived names from the moment
// when a chord was still being struck or its bass note was missing.
//
// Units: Micros of the take.
// Threads: pure; call it from any thread.
// Errors: none; the function is total.
// Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/takes/log_line.h"

namespace undersong::takes {

// `chords`: the chord lines of one take, in log order. A line whose `at` lies before that of an earlier line
// corrects it. A name that lasted less than harmony::kPassing is dropped, and the next one begins in its
// place. A name that repeats the one before it is dropped too.
std::vector<Line> settled_chords(const std::vector<Line>& chords);

}  // namespace undersong::takes
