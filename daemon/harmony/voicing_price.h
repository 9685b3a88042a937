// The price of a layout for two hands, and the tones that a chord needs. Shared by the searches and by the
// test that compares them with plain enumeration.
//
// Units: prices in half semitones of motion; MIDI keys; intervals in semitones.
// Threads: any; pure functions. No allocation.
// Errors: none; kUnplayable marks a layout that two hands cannot play. REQUIRES for the helper functions:
// ascending keys and 0 < split_at < size.
// Source: common practice, no source.
#pragma once

#include <cstddef>
#include <limits>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch_class_set.h"
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {

inline constexpr int kLowestBass = 28, kHighestBass = 55;
inline constexpr int kLowestInner = 45;  // lowest key between bass and melody
inline constexpr std::size_t kMaxInner = 4;
inline constexpr int kUnplayable = std::numeric_limits<int>::max() / 2;
inline constexpr int kMud = 40;  // least price of neighbours below their low interval limit

using Keys = FixedVector<int, 2 * kNotesInHand>;  // MIDI keys, lowest first

// The number of keys in the left hand: the split at the widest gap that leaves both hands playable; 0 if
// there is none.
inline std::size_t split(const Keys& keys) {
  std::size_t best = 0;
  int widest = -1;
  for (std::size_t s = 1; s < keys.size(); ++s) {
    if (s > kNotesInHand || keys.size() - s > kNotesInHand) continue;
    if (keys[s - 1] - keys[0] > kHandSpan || keys.back() - keys[s] > kHandSpan) continue;
    const int gap = keys[s] - keys[s - 1];
    if (gap > widest) widest = gap, best = s;
  }
  return best;
}
// A note one or two semitones under the melody hides it.
inline int under_top_price(int gap) {
  return gap == 1 ? 14 : gap == 2 ? 2 : 0;
}
// The price of two neighbours: mud, and hiding the melody.
inline int neighbour_price(int lower, int upper, bool upper_is_top) {
  const int gap = upper - lower;
  if (gap <= 12 && lower < kLowIntervals[static_cast<std::size_t>(gap)])
    return kMud + 2 * (kLowIntervals[static_cast<std::size_t>(gap)] - lower);
  if (upper_is_top) return under_top_price(gap);
  return gap == 1 ? 5 : 0;
}
// Notes far from the middle sound thin or thick.
inline int height_price(int key) {
  return (key < 58 ? 58 - key : key - 58) / 6;
}
inline int bass_price(int key) {
  return key > 50 ? 2 * (key - 50) : 0;
}
// A gap of more than an octave between the hands sounds hollow, but a high melody can force it.
inline int hole_price(const Keys& keys, std::size_t split_at) {
  const int hole = keys[split_at] - keys[split_at - 1] - 12;
  return hole > 0 ? hole / 2 : 0;
}
// The whole price; kUnplayable if two hands cannot hold the keys.
int price(const Keys& keys, const Hands& hands);
// The same with a given split.
int price(const Keys& keys, std::size_t split_at, const Hands& hands);

// The melody notes that one hand can hold with the highest one, lowest first; at most kNotesInHand.
Keys kept_melody(std::span<const Pitch> melody);
// The pitch classes to add between bass and melody to those present: third and seventh first, then what else
// the quality's name needs, then what makes the chord neither bare nor crowded.
FixedVector<int, kMaxInner> inner_tones(const Chord& chord, PitchClassSet present);
// Semitones above the root of the third (3, or a suspended 4 or 2), the seventh (7, or 6) and the fifth; 0 if
// the quality has none.
int third_of(Quality quality);
int seventh_of(Quality quality);
int fifth_of(Quality quality);

// The layout as a Voicing.
Voicing laid_out(const Keys& keys, std::size_t split_at, int motion);
inline Voicing laid_out(const Keys& keys, std::size_t split_at, const Hands& hands) {
  return laid_out(keys, split_at, hands.motion({keys.begin(), keys.size()}));
}

}  // namespace undersong::harmony
