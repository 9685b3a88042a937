// How the networks of the ear see time: as logarithms, and as memories that fade.
//
// Units: seconds.
// Threads: any; pure functions. No allocation.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <algorithm>
#include <cmath>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

// Of a stream's Micros.
inline float seconds(Micros d) {
  return static_cast<float>(d.count()) * 1e-6F;
}
// 0 for no time, about 1 for two seconds; from `longest` seconds on it no longer grows.
inline float log_time(Micros d, float longest) {
  return std::log2(1.0F + 8.0F * std::clamp(seconds(d), 0.0F, longest)) * 0.25F;
}
// Lets a memory fade to a share of what it was.
template <typename Row>
void scale(Row& row, float by) {
  for (float& x : row) x *= by;
}

}  // namespace undersong::harmony
