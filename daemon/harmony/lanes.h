// Lane: eight floats at once, for the networks of the ear.
//
// The arithmetic is plain and in a fixed order, and nothing is fused: machines with wide and with narrow
// vectors give the same result to the last bit. For .cpp files that mark their hot functions UNDERSONG_WIDE:
// every function that takes or returns a Lane is inlined there.
//
// Units: kLane floats.
// Threads: any; pure functions.
// Errors: none. REQUIRES: pointers to at least kLane values; no alignment is needed.
// Source: vector extensions of GCC and Clang.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstring>

// On x86 the hot functions are compiled twice, and the wider vectors are used where the machine has them.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define UNDERSONG_WIDE __attribute__((target_clones("avx2", "default"), flatten))
#else
#define UNDERSONG_WIDE
#endif

#if defined(__GNUC__)
// Lanes are never passed between functions, because every function that takes one is inlined.
#pragma GCC diagnostic ignored "-Wpsabi"
#endif

namespace undersong::harmony {

inline constexpr std::size_t kLane = 8;
using Lane [[gnu::vector_size(32)]] = float;
using WholeLane [[gnu::vector_size(32)]] = std::int32_t;  // result of a comparison: -1 where true
using ByteLane [[gnu::vector_size(8)]] = std::uint8_t;

[[gnu::always_inline]] inline Lane load(const float* from) {
  Lane lane;
  std::memcpy(&lane, from, sizeof lane);
  return lane;
}
[[gnu::always_inline]] inline WholeLane load(const std::int32_t* from) {
  WholeLane lane;
  std::memcpy(&lane, from, sizeof lane);
  return lane;
}
[[gnu::always_inline]] inline void store(std::int32_t* to, WholeLane lane) {
  std::memcpy(to, &lane, sizeof lane);
}
[[gnu::always_inline]] inline void store(float* to, Lane lane) {
  std::memcpy(to, &lane, sizeof lane);
}

// The index of the greatest of N elements, the first among equals. REQUIRES: N is a multiple of kLane.
template <std::size_t N>
[[gnu::always_inline]] inline std::size_t greatest(const float* of) {
  static_assert(N % kLane == 0);
  Lane most = load(of);
  for (std::size_t i = kLane; i < N; i += kLane) {
    const Lane here = load(of + i);
    most = here > most ? here : most;
  }
  float top = most[0];
  for (std::size_t i = 1; i < kLane; ++i) top = most[i] > top ? most[i] : top;
  std::size_t at = 0;
  for (; at + kLane < N; at += kLane) {
    const WholeLane same = load(of + at) == top;
    std::uint64_t any[4];
    std::memcpy(any, &same, sizeof any);
    if (any[0] | any[1] | any[2] | any[3]) break;
  }
  while (of[at] != top) ++at;
  return at;
}
template <std::size_t N>
[[gnu::always_inline]] inline std::size_t greatest(const std::array<float, N>& of) {
  return greatest<N>(of.data());
}

// Prefetches what will be read soon; after a pause it is no longer in the cache.
template <class T>
[[gnu::always_inline]] inline void fetch(const T& wanted) {
  constexpr std::size_t kLine = 64;
  for (std::size_t at = 0; at < sizeof(T); at += kLine)
    __builtin_prefetch(reinterpret_cast<const char*>(&wanted) + at);
}

}  // namespace undersong::harmony
