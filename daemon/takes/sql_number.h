// Numbers as SQLite keeps them: it knows only signed ones of 64 bits.
//
// Threads: any. Errors: none; a number above 2^63-1 keeps its bits and is negative in the store.
#pragma once

#include <cstdint>

namespace undersong::takes {

inline std::int64_t signed_of(std::uint64_t n) {
  return static_cast<std::int64_t>(n);
}

}  // namespace undersong::takes
