// Chords for a string section (violin I, violin II, viola, cello) with the smoothest voice leading possible.
//
//   const StringPad pad = voice_strings(chords);
//
// Every chord is laid out in all ways that fit the rules below. The cheapest sequence of layouts is found
// exactly, by dynamic programming. The price is the number of semitones that all voices move, plus kParallel
// for every pair of voices in parallel perfect fifths, octaves or unisons. A held common tone costs nothing,
// so common tones are held. The first layout is chosen near the middle of the section's range.
//
// Rules: each voice stays within its range; voices do not cross; the upper three are at most an octave apart
// from neighbour to neighbour, and the viola at most two octaves above the cello; the cello has the chord's
// bass; the third (or its suspension) and the seventh are present, and also the tone that gives the chord its
// name if a voice is left.
//
// Units: MIDI keys; prices in semitones.
// Threads: any; pure functions. They allocate, so they are for files and finished takes.
// Errors: none; no chords give an empty pad.
// Source of the ranges: lowest notes as in Adler, "The Study of Orchestration" (from memory); upper ends
// where a section plays softly without strain (common practice, no source). Parallels as in any harmony
// textbook.
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
inline constexpr int kParallel = 12;  // price of one parallel, in semitones

struct StringPad {
  std::vector<StringChord> chords;
  int motion = 0;     // semitones, over all voices and changes
  int parallels = 0;  // number of parallel perfect fifths, octaves and unisons
};

// The cheapest sequence of layouts; empty for no chords.
StringPad voice_strings(std::span<const Chord> chords);

// All layouts of a chord that follow the rules; at least one for every chord of the vocabulary.
std::vector<StringChord> string_layouts(const Chord& chord);
// The number of pairs of voices that move in parallel perfect fifths, octaves or unisons.
int parallels(const StringChord& before, const StringChord& after);
// Semitones that all voices move together.
int motion(const StringChord& before, const StringChord& after);

}  // namespace undersong::harmony
