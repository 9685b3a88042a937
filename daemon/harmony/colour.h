// Colour: where a chord stands between dark and bright, and between resolved and tense.
//
// Dark-bright is the mean place of the chord's tones on the line of fifths, seen from the key's tonic (from the chord's
// own root where no key is known): each flat is darker, each sharp brighter.
// Source: ordering of modes by the line of fifths, common practice; Temperley (2001), ch. 5.
// Resolved-tense is the mean harshness of the intervals within the chord and how many of its tones lie outside the key.
// Source: interval classes ordered as in Huron (1994), "Interval-class content in equally tempered pitch-class sets".
#pragma once

#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"

namespace undersong::harmony {

struct Colour {
  float dark_bright = 0;     // -1 dark .. 1 bright
  float resolved_tense = 0;  // 0 resolved .. 1 tense
};

Colour colour(Chord chord, NoteName root, const std::optional<Key>& key);

}  // namespace undersong::harmony
