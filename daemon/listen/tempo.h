// The range of tempos: 20 to 400 beats per minute, wherever a tempo is played, tapped, asked for, corrected
// or read back.
//
//   if (!is_tempo(interval)) return "Beats would be ...";
//
// Units: Micros from one beat to the next.
// Threads: any; pure functions.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <algorithm>

#include "daemon/harmony/pitch.h"

namespace undersong::listen {

inline constexpr Micros kShortestBeat{150'000}, kLongestBeat{3'000'000};
inline constexpr int kFastest = 400, kSlowest = 20;  // the same limits in beats per minute

constexpr bool is_tempo(Micros beat) {
  return beat >= kShortestBeat && beat <= kLongestBeat;
}

// No time in use is further away than this, about 36,000 years. Sums and differences of nearer times cannot
// overflow.
inline constexpr Micros kFarthest{std::int64_t{1} << 60};
constexpr Micros near_enough(Micros at) {
  return std::clamp(at, -kFarthest, kFarthest);
}

}  // namespace undersong::listen
