// Names what a chord does in place of another: the kind of substitution, in the usual terms.
//
//   the same               root and family are the same (Cmaj9 for C)
//   suspension             same root, a fourth or second for the third (G7sus4 for G7), or the reverse
//   parallel               same root, major for minor or the reverse (Cm for C)
//   same root              same root, another family (C7 for Cmaj7)
//   tritone substitute     a dominant for the one a tritone away (Db7 for G7)
//   related ii             a minor or half-diminished chord a fifth above a dominant in its place
//                          (Dm7 for G7)
//   diminished             a diminished chord with the third and seventh of a dominant in its place
//                          (Bdim7 for G7), or the reverse
//   relative               major and minor a minor third apart (Am for C)
//   leading-tone exchange  major and minor a major third apart (Em for C, F for Am)
//   borrowed               not all tones lie in the key, but all lie in its parallel minor or major
//                          (Fm for Dm in C)
//   chromatic mediant      roots a third apart, with tones outside the key (E for C)
//   the V of that ii       a dominant a fifth below a minor or half-diminished chord in its place: G7 for Dm7
//   another chord          the rest
//
// The first that applies, in this order, is the name.
//
// Units: none.
// Threads: any; pure functions. No allocation.
// Errors: none; all functions are total.
// Source: Kostka & Payne, "Tonal Harmony" (parallel, relative, borrowed, mediant); Cohn (1997) for the
// exchange; the others are common practice, no source.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"

namespace undersong::harmony {

enum class Substitution : std::uint8_t {
  kSame,
  kParallel,
  kSuspension,
  kSameRoot,
  kTritone,
  kRelatedTwo,
  kDiminished,
  kRelative,
  kLeadingTone,
  kMediant,
  kBorrowed,
  kOther,
  kItsDominant,
};
// What `instead` does in place of `usual`. Without a key nothing is borrowed.
Substitution substitution(const Chord& usual, const Chord& instead, const std::optional<Key>& key);
// The name, as in the list above.
std::string_view text(Substitution substitution);

}  // namespace undersong::harmony
