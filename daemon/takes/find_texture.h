// find_texture says how well a passage of several voices lies at one place of a take: which of its notes are
// there at the expected time, which are missing, and which notes of the take it lacks.
//
// Units: FindTime.
// Threads: pure; any thread.
// Errors: none.
// Source: matching of point sets in pitch and time after Ukkonen, Lemstroem and Maekinen, Geometric
// algorithms for transposition invariant content-based music retrieval (ISMIR 2003), with a tempo that may
// bend.
#pragma once

#include <span>

#include "daemon/takes/find_line.h"

namespace undersong::takes {

inline constexpr std::size_t kLongestPassage = 256;  // notes of a passage that are compared

struct TextureFit {
  float score = 0;
  int found = 0, missed = 0, passed = 0;
  float off = 0;
  FindTime from = 0, to = 0;
};
TextureFit fit_texture(std::span<const FindNote> passage, std::span<const FindNote> notes,
                       const FindMapping& mapping);

}  // namespace undersong::takes
