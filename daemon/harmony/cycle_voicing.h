// Lays out a whole cycle of chords for two hands with the smoothest voice leading, from chord to chord and
// from the last chord back to the first, with a given note on top of each.
//
//   const CycleVoicing laid_out = voice_cycle(chords, tops);
//
// Each chord has a list of layouts: its textbook styles, and what the hands would find coming from the
// layouts of the chord before. The cheapest sequence over these lists is found exactly, by dynamic
// programming on the closed cycle. The price counts each layout by itself (mud, height, holes), the least
// motion of all voices under the top note, and kOuterParallel where bass and top move in parallel octaves or
// fifths.
//
// Units: prices in half semitones of motion, as in voicing_price.h.
// Threads: any; pure functions. They allocate, so they are for files and finished takes.
// Errors: none. Where `chords` and `tops` differ in length, voice_cycle uses the shorter length. REQUIRES for
// the layouts functions: as many tops as chords.
// Source: common practice, no source.
#pragma once

#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {

inline constexpr int kOuterParallel = 8;

struct CycleVoicing {
  // hands_move: semitones from the chord before (for the first chord, from the last), without the top note.
  std::vector<Voicing> voicings;
  int price = 0;
};

// `tops`: one note for each chord. No chords give an empty result.
CycleVoicing voice_cycle(std::span<const Chord> chords, std::span<const Pitch> tops);

// The same over one bass key that does not move. REQUIRES: all chords have the same bass. If no key of that
// name lies under all tops, the bass changes octave where it must.
CycleVoicing voice_cycle_over_pedal(std::span<const Chord> chords, std::span<const Pitch> tops);

// The layouts that stand on the key `pedal`, from cycle_layouts and from more layouts found the same way; a
// list may be empty.
std::vector<std::vector<Voicing>> pedal_layouts(std::span<const Chord> chords, std::span<const Pitch> tops,
                                                Pitch pedal);

// The layouts that voice_cycle chooses from: one list for each chord, each with at least one layout.
std::vector<std::vector<Voicing>> cycle_layouts(std::span<const Chord> chords, std::span<const Pitch> tops);
// The price of a closed sequence of layouts.
int cycle_price(std::span<const Voicing> voicings);

}  // namespace undersong::harmony
