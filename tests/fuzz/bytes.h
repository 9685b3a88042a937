// The bytes of an input, read as numbers from its beginning. After its end all of them are 0.
//
// Threads: plain value. Errors: none.
#pragma once

#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <string>

#include "daemon/harmony/pitch.h"

namespace undersong::fuzz {

struct Bytes {
  const std::uint8_t* at;
  const std::uint8_t* end;
  bool empty() const { return at == end; }
  std::uint8_t byte() { return empty() ? 0 : *at++; }
  std::int64_t word() {
    std::int64_t out = 0;
    for (int i = 0; i < 8; ++i)
      out = static_cast<std::int64_t>(static_cast<std::uint64_t>(out) << 8 | byte());
    return out;
  }
  std::string text(std::size_t size) {
    size = std::min(size, static_cast<std::size_t>(end - at));
    std::string out(reinterpret_cast<const char*>(at), size);
    at += size;
    return out;
  }
  // Usually a short step forward from `now`; rarely any time at all.
  Micros time(Micros now) {
    const int kind = byte();
    if (kind == 255) return Micros(word());
    if (kind == 254) return Micros::min();
    if (kind == 253) return Micros::max();
    const std::uint64_t step = kind > 240 ? static_cast<std::uint64_t>(kind - 247) * 1'000'000
                                          : static_cast<std::uint64_t>(kind) * 10'000;
    return Micros(static_cast<std::int64_t>(static_cast<std::uint64_t>(now.count()) + step));
  }
};

inline void must(bool holds) {
  if (!holds) std::abort();
}

}  // namespace undersong::fuzz
