// Chords for a string section (violin I, violin II, viola, cello) with the smoothest voice leading possible,
// under the tune and above the bass player.
//
//   const StringPad pad = voice_strings(chords, PadStyle::kStill);
//
// Every chord is laid out in all ways that fit the rules below. The cheapest sequence of layouts is found
// exactly, by dynamic programming. The price of a sequence is the sum of:
//   motion          one per semitone that a voice moves; a held common tone costs nothing, so it is held
//   kParallelPrice       for every pair of voices in parallel perfect fifths, octaves or unisons
//   kOverTune       for every voice that reaches or passes the lowest melody note over the chord
//   kNextToTune     for every voice a semitone below that note
//   kDoublesBass    where the cello has the bass player's note; in a chorale it costs nothing
//   kDoublesThird   where two voices have the third
//   kStandsStill    where a chord's second half has no moving inner voice (only between such halves)
//   a third of the distance of violin I from its place: a fourth below the tune, at most kHighPlace and at
//   least kLowPlace; and what the cello is further below the viola than kCelloGap
//
// Rules: each voice stays within its range; voices neither cross nor meet; neighbours among the upper three
// are at most an octave apart, and the viola at most two octaves above the cello; the third (or its
// suspension) and the seventh are present, and also the tone that gives the chord its name if a voice is
// left. From the first to the second half of a chord exactly one inner voice moves, by at most a major third,
// or none.
//
// Units: MIDI keys; prices in semitones.
// Threads: any; pure functions. They allocate, so they are for files and finished takes.
// Errors: none; no chords give an empty pad.
// Source of the ranges: lowest notes as in Adler, "The Study of Orchestration" (from memory); upper ends
// where a section plays softly without strain (common practice, no source). Parallels as in any harmony
// textbook. The other prices: common practice, no source.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
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
    {{Pitch(36), Pitch(60)}, {Pitch(48), Pitch(74)}, {Pitch(55), Pitch(79)}, {Pitch(55), Pitch(84)}}};
inline constexpr int kParallelPrice = 12, kOverTune = 40, kNextToTune = 20, kDoublesBass = 4,
                     kDoublesThird = 4, kStandsStill = 6;
inline constexpr int kLowPlace = 64, kHighPlace = 74, kCelloGap = 16;

// kStill: common tones are held. kMoving: also one inner voice moves in the second half of a chord. kChorale:
// the cello may stay on the bass.
enum class PadStyle : std::uint8_t { kStill, kMoving, kChorale };

struct PadChord {
  Chord chord;
  std::optional<Pitch> tune{};  // the lowest melody note that sounds over it
  bool second_half = false;     // of the chord before it in the row
};

struct StringPad {
  std::vector<StringChord> chords;
  int motion = 0;     // semitones, over all voices and changes
  int parallels = 0;  // number of parallel perfect fifths, octaves and unisons
};

// The cheapest sequence of layouts; empty for no chords.
StringPad voice_strings(std::span<const PadChord> chords, PadStyle style);

// All layouts of a chord that follow the rules; at least one for every chord of the vocabulary.
std::vector<StringChord> string_layouts(const Chord& chord);
// What a layout costs by itself.
int standing_price(const StringChord& layout, const PadChord& chord, PadStyle style);
// What it costs to go from one layout to the next. Empty if the rules forbid it.
std::optional<int> step_price(const StringChord& before, const StringChord& after, bool second_half);
// The number of pairs of voices that move in parallel perfect fifths, octaves or unisons.
int parallels(const StringChord& before, const StringChord& after);
// Semitones that all voices move together.
int motion(const StringChord& before, const StringChord& after);

}  // namespace undersong::harmony
