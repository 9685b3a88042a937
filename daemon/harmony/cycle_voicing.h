// A whole cycle of chords laid out for two hands, led from chord to chord and from the last back to the
// first, with a given note on top of each.
//
// Every chord has a list of layouts: its textbook styles, and what the hands would find coming from the
// layouts of the chord before it. The row of least price is found exactly over these lists (dynamic
// programming on the closed cycle). Price, in half semitones of motion as in voicing_price.h: each layout by
// itself (mud, height, holes), the least motion of all voices under the top note, and kOuterParallel where
// bass and top move in parallel octaves or fifths. Source: common practice, no source. For files and finished
// takes: allocates.
#pragma once

#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {

inline constexpr int kOuterParallel = 8;

struct CycleVoicing {
  std::vector<Voicing>
      voicings;  // hands_move: from the chord before, for the first from the last; the top note left out
  int price = 0;
};

// `tops`: one for each chord. Empty for no chords.
CycleVoicing voice_cycle(std::span<const Chord> chords, std::span<const Pitch> tops);

// The same over one bass key that stays where it is. REQUIRES: the chords have one bass. Where no key of that
// name lies under all of the tops, the bass goes to another octave where it must.
CycleVoicing voice_cycle_over_pedal(std::span<const Chord> chords, std::span<const Pitch> tops);

// Of cycle_layouts and more like them, those that stand on this key.
std::vector<std::vector<Voicing>> pedal_layouts(std::span<const Chord> chords, std::span<const Pitch> tops,
                                                Pitch pedal);

// What voice_cycle chooses among, one list a chord, each at least one.
std::vector<std::vector<Voicing>> cycle_layouts(std::span<const Chord> chords, std::span<const Pitch> tops);
// What a closed row of layouts costs.
int cycle_price(std::span<const Voicing> voicings);

}  // namespace undersong::harmony
