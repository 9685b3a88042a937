// A chord laid out for two hands, melody on top.
//
// Limits (common practice, no source): each hand spans a tenth (16 semitones) at most and holds five notes at most; the
// hands don't cross; intervals in the low register are wide (kLowIntervalLimit).
#pragma once

#include <cstdint>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr int kHandSpan = 16;      // semitones, a major tenth
inline constexpr int kNotesInHand = 5;
using Hand = FixedVector<Pitch, kNotesInHand>;  // lowest first

struct Voicing {
  Hand left;
  Hand right;                    // the melody is its highest note
  std::uint8_t hands_move = 0;   // semitones, sum over voices from what the hands hold now
  friend constexpr bool operator==(const Voicing&, const Voicing&) = default;
};

}  // namespace undersong::harmony
