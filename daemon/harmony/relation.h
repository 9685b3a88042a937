// What a chord would do after the last ones, in the words of the trade.
//
//   pedal point         the bass stays while the chord over it changes
//   parallel            same root, major for minor or the reverse (C -> Cm)
//   backdoor            in a major key, to I from the dominant on bVII, or to that dominant from iv (Fm7 ->
//   Bb7 -> C) tritone substitute  a dominant where the one a tritone away is expected: after it (G7 -> Db7)
//   or after its ii
//                       (Dm7 -> Db7)
//   substitute resolves a dominant falls a semitone to what its substitute would resolve to (Db7 -> C)
//   deceptive           V goes up a step instead of to I: to a minor chord a whole step (G7 -> Am), or to a
//   major chord a
//                       semitone above (G7 -> Ab)
//   falling fifth       the root falls a fifth, or rises a fourth
//   relative            major to minor a minor third below, or the reverse (C -> Am)
//   chromatic approach  the root moves a semitone
//   mediant             the root moves a third, and it is not the relative
//   rising fifth, step  the rest: the root rises a fifth (plagal), moves a whole step, a tritone, or stays
//
// The first that holds, in this order, is the name. Source: Kostka & Payne, "Tonal Harmony" (falling fifth,
// deceptive, parallel, relative, mediant, pedal point); the others common practice, no source. Pure; no
// allocation.
#pragma once

#include <optional>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/key.h"

namespace undersong::harmony {

inline constexpr std::size_t kChordsBefore = 4;
using ChordsBefore = FixedVector<Chord, kChordsBefore>;  // newest first

enum class Relation : std::uint8_t {
  kNone,
  kPedalPoint,
  kParallel,
  kBackdoor,
  kTritoneSubstitute,
  kSubstituteResolves,
  kDeceptive,
  kFallingFifth,
  kRelative,
  kChromaticApproach,
  kMediant,
  kRisingFifth,
  kStep,
  kTritone,
  kSameRoot,
};
// kNone: nothing came before.
Relation relation(const ChordsBefore& before, const Chord& next, const std::optional<Key>& key);
// "falling fifth", "deceptive", "tritone substitute" ...; empty for kNone.
std::string_view text(Relation relation);

}  // namespace undersong::harmony
