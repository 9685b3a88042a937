// Times as tests write them.
#pragma once

#include <cmath>
#include <cstdint>

#include "daemon/harmony/pitch.h"

namespace undersong {

constexpr Micros us(std::int64_t n) {
  return Micros(n);
}
constexpr Micros ms(std::int64_t n) {
  return Micros(n * 1000);
}
inline Micros at(double seconds) {
  return Micros(static_cast<std::int64_t>(std::llround(seconds * 1e6)));
}

}  // namespace undersong
