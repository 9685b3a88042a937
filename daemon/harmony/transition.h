// What usually follows: how familiar a chord is after the previous one, in a key.
//
// Textbook rules with weights of our own: the root's degree in the key, the motion of roots, the pull of dominants, tones
// outside the key. Source: root motions and functions as in Kostka & Payne, "Tonal Harmony", ch. 7 (from memory); the
// weights are common practice, no source.
#pragma once

#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/key.h"

namespace undersong::harmony {

// The move of roots from one chord to the next, upwards in semitones, as a name.
enum class RootMove : std::uint8_t {
  kNone, kSameRoot, kSemitoneUp, kStepUp, kMinorThirdUp, kMajorThirdUp, kFallingFifth, kTritone, kRisingFifth,
  kMajorThirdDown, kMinorThirdDown, kStepDown, kSemitoneDown,
};
RootMove root_move(const std::optional<Chord>& from, PitchClass to);

// No unit; higher is more usual. The first is how much a chord is at home in the key, the second how usual it is after
// the previous one; they add up. Unknown context contributes nothing.
float home_score(const std::optional<Key>& key, const Chord& chord);
float motion_score(const std::optional<Chord>& previous, PitchClass next_root, Family next_family);
// The same as a share, 0 surprising .. 1 usual.
float familiarity(float score);

}  // namespace undersong::harmony
