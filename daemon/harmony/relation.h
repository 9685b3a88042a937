// Names what a chord does after the previous ones, in the usual terms.
//
//   pedal point          the bass stays while the chord over it changes
//   parallel             same root, major for minor or the reverse (C -> Cm)
//   backdoor             in a major key: to I from the dominant on bVII, or to that dominant from iv
//                        (Fm7 -> Bb7 -> C)
//   tritone substitute   a dominant in place of the one a tritone away: after that one (G7 -> Db7), or after
//                        its ii (Dm7 -> Db7)
//   substitute resolves  a dominant falls a semitone to the goal of the one it replaces (Db7 -> C)
//   deceptive            V goes up a step instead of to I: to a minor chord a whole step above (G7 -> Am), or
//                        to a major chord a semitone above (G7 -> Ab)
//   falling fifth        the root falls a fifth, or rises a fourth
//   relative             major to minor a minor third below, or the reverse (C -> Am)
//   chromatic approach   the root moves a semitone
//   mediant              the root moves a third, and the chord is not the relative
//   rising fifth         the root rises a fifth (plagal)
//   tritone, step        the root moves a tritone, or a whole step
//   same root            the root stays, and the chord is not the parallel
//
// The first that applies, in this order, is the name; "same root" is decided together with "parallel".
//
// Units: none.
// Threads: any; pure functions. No allocation.
// Errors: none; all functions are total.
// Source: Kostka & Payne, "Tonal Harmony" (falling fifth, deceptive, parallel, relative, mediant, pedal
// point); the others are common practice, no source.
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
// The relation of `next` to the chords before it; kNone if there are none.
Relation relation(const ChordsBefore& before, const Chord& next, const std::optional<Key>& key);
// The name: "falling fifth", "deceptive", "tritone substitute" ...; empty for kNone.
std::string_view text(Relation relation);

}  // namespace undersong::harmony
