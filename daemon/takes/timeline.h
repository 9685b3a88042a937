// The chords of a take as one would note them afterwards: without the names that stood for a blink while a
// chord was still being struck or a bass note was awaited.
//
// Threads: pure. Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/takes/log_line.h"

namespace undersong::takes {

// `chords`: the chord lines of one take in the order of the log. A line whose `at` lies before that of an
// earlier one corrects it. A name that stood for less than harmony::kPassing gives its beginning to the next;
// a name that repeats the one before it is left out.
std::vector<Line> settled_chords(const std::vector<Line>& chords);

}  // namespace undersong::takes
