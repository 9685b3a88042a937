// The price of a layout for two hands, and the tones that a chord needs. Shared by the searches and by the
// test that compares them with plain enumeration.
//
// Units: prices in half semitones of motion; MIDI keys; intervals in semitones.
// Threads: any; pure functions. No allocation.
// Errors: none; kUnplayable marks a layout that two hands cannot play. REQUIRES for the helper functions:
// ascending keys and 0 < split_at < size.
// Source: common practice, no source.
#pragma once

#include <algorithm>
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
inline constexpr int kMud = 150;  // at least this for neighbours under their low interval limit

// What a pianist minds about a grip, in the same unit as motion. Common practice, no source.
inline constexpr int kBareLeft = 3;     // the left hand holds one note and leaves the chord to the right
inline constexpr int kNoBass = 53;      // F3: from here up ...
inline constexpr int kHighBare = 20;    // ... a single note in the left hand is no bass
inline constexpr int kCrowded = 30;     // five notes in one hand
inline constexpr int kFar = 8;          // the right hand stretches beyond its reach ...
inline constexpr int kTwelfth = 19;     // semitones between the hands ...
inline constexpr int kTooWide = 60;     // ... beyond which the chord falls apart
inline constexpr int kStretchStep = 4;  // ... and each semitone more, as between the hands
inline constexpr int kStrained = 50;    // from this price of the hands on, a fuller chord is tried

using Keys = FixedVector<int, 2 * kNotesInHand>;  // MIDI keys, lowest first

// A semitone or a tone under the melody hides it.
inline int under_top_price(int gap) {
  return gap == 1 ? 100 : gap == 2 ? 2 : 0;
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
// The gap between the hands: beyond an octave it sounds hollow.
inline int hole_price(int gap) {
  if (gap <= 12) return 0;
  return (std::min(gap, kTwelfth) - 12) / 4 +
         (gap > kTwelfth ? kTooWide + kStretchStep * (gap - kTwelfth) : 0);
}
// Both hands, which part below keys[split_at]. The left hand stays within its reach; the right one may
// stretch to a tenth for a moment. kUnplayable where a hand can't hold its part.
inline int hands_price(const Keys& keys, std::size_t split_at, int reach) {
  const int right = keys.back() - keys[split_at];
  if (keys[split_at - 1] - keys[0] > reach || right > kHandSpan) return kUnplayable;
  const std::size_t in_right = keys.size() - split_at;
  if (split_at > kNotesInHand || in_right > kNotesInHand) return kUnplayable;
  const int bare = split_at == 1 ? kBareLeft + (keys[0] >= kNoBass ? kHighBare : 0) : 0;
  const int crowded = split_at == kNotesInHand || in_right == kNotesInHand ? kCrowded : 0;
  const int far = right > reach ? kFar + kStretchStep * (right - reach) : 0;
  return hole_price(keys[split_at] - keys[split_at - 1]) + bare + crowded + far;
}
// The place between left and right hand that costs least, of equals the widest gap; 0 if there is none.
std::size_t split(const Keys& keys, int reach);
// The whole. kUnplayable if no two hands can hold it.
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
  return laid_out(keys, split_at, hands.moved({keys.begin(), keys.size()}));
}

}  // namespace undersong::harmony
