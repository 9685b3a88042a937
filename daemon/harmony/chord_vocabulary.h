// The table of chord qualities. To teach the program a chord, add a row in chord_vocabulary.cpp; the
// recogniser, the alternatives, the symbols and the voicings all read this table.
//
//   const QualityRow& seventh = row(quality("7"));
//   degree_in(quality("7"), 10);   // b7
//
// Units: intervals in semitones above the root, 0..11.
// Threads: any; the table is made at the first use (thread-safe) and then read only.
// Errors: find_quality returns nullopt for an unknown name; quality() aborts. REQUIRES: a Quality that names
// a row, an interval 0..11.
// Source: shorthands and their degrees from Harte, Sandler, Abdallah & Gomez (2005), with `sus2` and `5` as
// in the JAMS chord namespace; the other rows write their degrees in the same syntax. Symbols: common
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
  std::string_view harte;    // the text between "ROOT:" and the bass
  std::string_view letters;  // symbol after the root, in letters: m7, maj7
  std::string_view signs;    // the same with signs: -7, Δ7
  Family family = Family::kMajor;
  FixedVector<Degree, 8> degrees;  // root first, ascending
  PitchClassSet tones;             // all degrees, in semitones above the root
  PitchClassSet essential;         // tones that must sound for the name to be right
  float rarity = 0;                // price of the name among readings that fit equally well; 0 = everyday
};

// All rows; a Quality is an index into this list.
std::span<const QualityRow> chord_vocabulary();
const QualityRow& row(Quality quality);
// The quality with exactly this Harte text; nullopt if there is none.
std::optional<Quality> find_quality(std::string_view harte);
// The same for names in our own source code: an unknown name is a programming error and aborts.
Quality quality(std::string_view harte);

// True if the tones, seen from the root, contain the one `interval` semitones above it (0..11).
constexpr bool has(PitchClassSet tones, int interval) {
  return tones.contains(PitchClass(interval));
}
// The third of a chord: its tones, seen from the root, contain a major one, else a minor one, or neither.
enum class Third : std::uint8_t { kMajor, kMinor, kNone };
constexpr Third third_in(PitchClassSet tones) {
  return has(tones, 4) ? Third::kMajor : has(tones, 3) ? Third::kMinor : Third::kNone;
}
// The tones that a name may take for granted: they need not sound.
inline constexpr PitchClassSet kRootAndFifth(1u << 0 | 1u << 7);

// The role of the note `interval` semitones above the root (0..11).
enum class Role : std::uint8_t { kChordTone, kTension, kAvoid };
// Source: Nettles, Berklee harmony course: an available tension lies a whole step above a chord tone, an
// avoid note a half step. Dominants also take b9, #9, #11 and b13 (common practice, no source).
Role role(Quality quality, int interval);
// The degree of the note `interval` semitones above the root: the chord's own name for it, or the usual name
// of a tension.
Degree degree_in(Quality quality, int interval);

}  // namespace undersong::harmony
