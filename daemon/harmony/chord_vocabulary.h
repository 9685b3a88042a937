// THE table of chord qualities. To teach the program a chord, add a row in chord_vocabulary.cpp; everything
// else (recogniser, alternatives, symbols, voicings) reads the table.
//
// Source: shorthands and their degrees from Harte, Sandler, Abdallah & Gomez (2005), with `sus2` and `5` as
// in the JAMS chord namespace; the other rows write their degrees in the same syntax. Symbols are common
// practice, no source.
#pragma once

#include <optional>
#include <span>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/interval.h"
#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

enum class Family : std::uint8_t {
  kMajor,
  kMinor,
  kDominant,
  kSuspended,
  kDiminished,
  kHalfDiminished,
  kAugmented,
  kPower
};

struct QualityRow {
  std::string_view harte;    // what stands after the root and colon, and before the bass
  std::string_view letters;  // symbol after the root, in letters: m7, maj7
  std::string_view signs;    // the same with signs: -7, ^7 is written Δ7
  Family family = Family::kMajor;
  FixedVector<Degree, 8> degrees;  // root first, in the order of the chord's own letters
  PitchClassSet tones;             // all degrees, as semitones above the root
  PitchClassSet essential;         // must sound for the name to be right
  float rarity = 0;                // what the name costs among readings that fit equally, 0 = everyday
};

// All rows; a Quality is an index into them.
std::span<const QualityRow> chord_vocabulary();
const QualityRow& row(Quality quality);
// The row with exactly this Harte text; nullopt if there is none.
std::optional<Quality> find_quality(std::string_view harte);
// The same for names written in our own sources; a name that isn't in the table is a programming error and
// aborts.
Quality quality(std::string_view harte);

// How a note `interval` semitones above the root (0..11) sits in a chord.
enum class Role : std::uint8_t { kChordTone, kTension, kAvoid };
// Source: Nettles, Berklee harmony course: an available tension lies a whole step above a chord tone, an
// avoid note a half step; dominants take b9, #9, #11, b13 as well (common practice, no source).
Role role(Quality quality, int interval);
// The degree a note takes in this chord: the chord's own name for it, or the usual one for a tension.
Degree degree_in(Quality quality, int interval);

}  // namespace undersong::harmony
