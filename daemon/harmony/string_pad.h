// Chords for a string section: violin I, violin II, viola, cello, led from chord to chord with the least
// motion there is.
//
// Every chord is laid out in all ways that fit the rules below; the row of layouts with the lowest price is
// found exactly (dynamic programming). Price: semitones moved by all voices together, and kParallel for every
// pair of voices that move in parallel perfect fifths, octaves or unisons. A common tone that is held costs
// nothing, so it is held. Rules: each voice within its range, no crossing, the upper three at most an octave
// apart from neighbour to neighbour; the cello has the chord's bass; the third (or what is suspended for it)
// and the seventh are there, and the tone that gives the chord its name where a voice is left. Source of the
// ranges: lowest notes as in Adler, "The Study of Orchestration" (from memory), upper ends where a section
// plays softly without strain (common practice, no source); parallels as in any harmony textbook.
// For files and finished takes: allocates.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr std::size_t kStrings = 4;
using StringChord = std::array<Pitch, kStrings>;  // cello, viola, violin II, violin I: lowest first

struct StringRange {
  Pitch lowest, highest;
};
inline constexpr std::array<StringRange, kStrings> kStringRanges{
    {{Pitch(36), Pitch(60)}, {Pitch(48), Pitch(74)}, {Pitch(55), Pitch(79)}, {Pitch(60), Pitch(84)}}};
inline constexpr int kParallel = 12;  // semitones that one parallel is worth

struct StringPad {
  std::vector<StringChord> chords;
  int motion = 0;     // semitones, all voices and changes together
  int parallels = 0;  // pairs of voices in parallel perfect fifths, octaves or unisons
};

// Empty for no chords.
StringPad voice_strings(std::span<const Chord> chords);

// All layouts of a chord that follow the rules; at least one for every chord of the vocabulary.
std::vector<StringChord> string_layouts(const Chord& chord);
// Pairs of voices that move in parallel perfect fifths, octaves or unisons from `before` to `after`.
int parallels(const StringChord& before, const StringChord& after);
int motion(const StringChord& before, const StringChord& after);

}  // namespace undersong::harmony
