// The pickup of a take or song: what is played before the first bar, when it is less than a bar.
//
// Units: Ticks of the take.
// Threads: pure; call it from any thread.
// Errors: none; the function is total.
// Source: common practice, no source.
#pragma once

#include <optional>

#include "daemon/song/strain.h"

namespace undersong::song {

// `bar`: the tick at which the first whole bar begins. Empty if nothing is played before it, or a bar or
// more. The part begins with its first note, on the grid of the metre.
std::optional<Part> pickup_before(const Heard& heard, Ticks bar);

}  // namespace undersong::song
