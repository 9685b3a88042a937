// Eight floats at once, for the networks of the ear. Plain arithmetic in a fixed order: the same result, to
// the last bit, on machines with wide vectors and with narrow ones; nothing is fused.
//
// For .cpp files that mark their hot functions UNDERSONG_WIDE: all that takes or gives a Lane is inlined
// there.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>

// On x86 the hot functions exist twice, and the wider vectors are used where the machine has them.
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) && \
    !defined(__SANITIZE_THREAD__)
#define UNDERSONG_WIDE __attribute__((target_clones("avx2", "default"), flatten))
#else
#define UNDERSONG_WIDE
#endif

#if defined(__GNUC__)
#pragma GCC diagnostic ignored \
    "-Wpsabi"  // lanes are never passed between functions: all that takes them is inlined
#endif

namespace undersong::harmony {

inline constexpr std::size_t kLane = 8;
using Lane [[gnu::vector_size(32)]] = float;
using WholeLane [[gnu::vector_size(32)]] = std::int32_t;  // of a comparison: -1 where true

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

// Asks for what will be read soon: after a pause it lies far away.
template <class T>
[[gnu::always_inline]] inline void fetch(const T& wanted) {
  constexpr std::size_t kLine = 64;
  for (std::size_t at = 0; at < sizeof(T); at += kLine)
    __builtin_prefetch(reinterpret_cast<const char*>(&wanted) + at);
}

}  // namespace undersong::harmony
