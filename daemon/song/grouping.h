// How the eighth notes of a five or seven are grouped, from what was played: the grouping whose groups begin
// where most is struck, and loudest.
//
// Threads: pure; call it from any thread.
// Errors: none; the function is total.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/song/bars.h"
#include "daemon/takes/played_notes.h"

namespace undersong::song {

// As in Meter::groups; 0 for beats that are not eighth notes.
std::uint16_t groups_played(const std::vector<takes::PlayedNote>& notes, const Bars& bars);

}  // namespace undersong::song
