// What usually follows: how familiar a chord is after the previous one, in a key.
//
// Textbook rules with weights of our own: the root's degree in the key, the motion of roots, the pull of dominants, tones
// outside the key. Source: root motions and functions as in Kostka & Payne, "Tonal Harmony", ch. 7 (from memory); the
// weights are common practice, no source.
#pragma once

#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"

namespace undersong::harmony {

// The move of roots from one chord to the next, upwards in semitones, as a name.
enum class RootMove : std::uint8_t {
  kNone, kSameRoot, kSemitoneUp, kStepUp, kMinorThirdUp, kMajorThirdUp, kFallingFifth, kTritone, kRisingFifth,
  kMajorThirdDown, kMinorThirdDown, kStepDown, kSemitoneDown,
};
RootMove root_move(const std::optional<Chord>& from, PitchClass to);

// No unit; about -2 .. 3, higher is more usual. Unknown context contributes nothing.
float familiarity_score(const std::optional<Chord>& previous, const std::optional<Key>& key, const Chord& next);
// The same as a share, 0 surprising .. 1 usual.
float familiarity(float score);

}  // namespace undersong::harmony
