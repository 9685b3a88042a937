// PitchClassSet: a set of pitch classes in twelve bits. Bit i is pitch class i, or i semitones above a root.
//
//   PitchClassSet triad(0b000010010001);              // C E G
//   triad.transposed(2).contains(PitchClass(6));      // D major contains F#
//
// Units: pitch classes 0..11.
// Threads: plain values; any thread.
// Errors: none; all functions are total; bits above 11 are ignored.
// Source: none needed.
#pragma once

#include <array>
#include <bit>
#include <cstdint>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

namespace detail {
// The baseline of amd64 has no popcount instruction, so a table is several times faster.
inline constexpr std::array<std::uint8_t, 4096> kBitCount = [] {
  std::array<std::uint8_t, 4096> out{};
  for (unsigned i = 0; i < out.size(); ++i) out[i] = static_cast<std::uint8_t>(std::popcount(i));
  return out;
}();
}  // namespace detail

class PitchClassSet {
 public:
  constexpr PitchClassSet() = default;
  constexpr explicit PitchClassSet(unsigned bits) : bits_(static_cast<std::uint16_t>(bits & 0xFFFu)) {}
  constexpr unsigned bits() const { return bits_; }
  constexpr int size() const { return detail::kBitCount[bits_]; }
  constexpr bool empty() const { return bits_ == 0; }
  constexpr bool contains(PitchClass pc) const { return (bits_ >> pc.value()) & 1u; }
  constexpr void insert(PitchClass pc) { bits_ = static_cast<std::uint16_t>(bits_ | 1u << pc.value()); }
  constexpr void erase(PitchClass pc) { bits_ = static_cast<std::uint16_t>(bits_ & ~(1u << pc.value())); }
  // The set as seen from a root: bit 0 is the root.
  constexpr PitchClassSet relative_to(PitchClass root) const {
    const unsigned r = static_cast<unsigned>(root.value());
    return PitchClassSet((static_cast<unsigned>(bits_) >> r) | (static_cast<unsigned>(bits_) << (12 - r)));
  }
  constexpr PitchClassSet transposed(int semitones) const { return relative_to(PitchClass(-semitones)); }
  friend constexpr PitchClassSet operator&(PitchClassSet a, PitchClassSet b) {
    return PitchClassSet(a.bits() & b.bits());
  }
  friend constexpr PitchClassSet operator|(PitchClassSet a, PitchClassSet b) {
    return PitchClassSet(a.bits() | b.bits());
  }
  friend constexpr PitchClassSet operator-(PitchClassSet a, PitchClassSet b) {
    return PitchClassSet(a.bits() & ~b.bits());
  }
  friend constexpr bool operator==(PitchClassSet, PitchClassSet) = default;

 private:
  std::uint16_t bits_ = 0;
};

}  // namespace undersong::harmony
