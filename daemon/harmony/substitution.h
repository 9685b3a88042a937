// What a chord does in the place of another: the name of the substitution, in the words of the trade.
//
//   the same         root and family are the same (Cmaj9 for C)
//   parallel         same root, major for minor or the reverse (Cm for C)
//   suspension       same root, a fourth or second for the third (G7sus4 for G7), or the reverse: resolved
//   same root        same root, another family (C7 for Cmaj7)
//   tritone substitute   a dominant for the one a tritone away (Db7 for G7)
//   related ii       the minor chord a fifth above a dominant in its place (Dm7 for G7), or that dominant for
//   its ii diminished       a diminished seventh for the dominant whose upper tones it has (Bdim7 for G7), or
//   the reverse relative         major and minor a minor third apart (Am for C) leading-tone exchange  major
//   and minor a major third apart (Em for C, F for Am) borrowed         all its tones lie in the parallel
//   minor (or major) of the key, and not all in the key (Fm for Dm in C) chromatic mediant    roots a third
//   apart, with tones outside the key (E for C) another chord    the rest
//
// The first that holds, in this order, is the name. Source: Kostka & Payne, "Tonal Harmony" (parallel,
// relative, borrowed, mediant); Cohn (1997) for the exchange; the others common practice, no source. Pure; no
// allocation.
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
};
Substitution substitution(const Chord& usual, const Chord& instead, const std::optional<Key>& key);
std::string_view text(Substitution substitution);

}  // namespace undersong::harmony
