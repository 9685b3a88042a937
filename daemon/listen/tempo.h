// Which tempi there are: 20 to 400 beats a minute, wherever a tempo is played, tapped, asked for, corrected
// or read back.
//
//   if (!is_tempo(interval)) return "Beats would be ...";
//
// Units: Micros from one beat to the next. Threads, errors: none. Source: common practice, no source.
#pragma once

#include <algorithm>

#include "daemon/harmony/pitch.h"

namespace undersong::listen {

inline constexpr Micros kShortestBeat{150'000}, kLongestBeat{3'000'000};
inline constexpr int kFastest = 400, kSlowest = 20;  // beats a minute: the same limits

constexpr bool is_tempo(Micros beat) {
  return beat >= kShortestBeat && beat <= kLongestBeat;
}

// Times further away than this are no times of ours; sums and differences of nearer ones can't overflow.
// About 36,000 years.
inline constexpr Micros kFarthest{std::int64_t{1} << 60};
constexpr Micros near_enough(Micros at) {
  return std::clamp(at, -kFarthest, kFarthest);
}

}  // namespace undersong::listen
