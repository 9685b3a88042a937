// The learnt table of what is usual: which chord is played under these notes, after these chords, in this
// key.
//
// Chords are relative to the tonic of the key signature (for a minor key, to the relative major), in thirteen
// classes of quality: 156 chords. The table is in ranking_table.inc, made by
// daemon/harmony/learning/train_ranking.py. The same text can be read from a file, to measure a table learnt
// from other pieces.
//
// Units: every number is a natural logarithm of how much likelier a chord becomes; the numbers are added.
// Threads: any; tables are read-only.
// Errors: `from` returns nullopt if the numbers do not fit. Allocates only when a table is made.
// Source: counts and weights from OpenEWLD (Simonetta, Carnovalini, Orio & Roda, Audio Mostly 2018; MIT
// licence), songs of about 1850 to 1930. Method: smoothing by Witten & Bell (1991), conditional logit by
// McFadden (1974).
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {

// The classes of quality in the table: third, fifth and seventh. Chords with ninths and alterations count as
// their seventh chord.
enum class QualityClass : std::uint8_t {
  kMajor,
  kSixth,
  kMajorSeventh,
  kDominant,
  kMinor,
  kMinorSixth,
  kMinorSeventh,
  kMinorMajorSeventh,
  kHalfDiminished,
  kDiminished,
  kAugmented,
  kAugmentedSeventh,
  kSuspended,
  kNone,
};
inline constexpr std::size_t kQualityClasses = 13;
inline constexpr std::size_t kTableChords = 12 * kQualityClasses;
QualityClass quality_class(Quality quality);  // kNone: neither a third nor a suspension

using ChordScores = std::array<float, kTableChords>;  // [root above the tonic * 13 + class]

class RankingTable {
 public:
  // The table that is compiled in.
  static const RankingTable& standard();
  // Made from the numbers of a file of the same format; nullopt if there are too few, too many, or another
  // version.
  static std::optional<RankingTable> from(std::span<const std::int32_t> numbers);

  using Row = std::array<float, kTableChords>;
  struct Listed {
    std::uint16_t context;
    std::uint8_t chord;
    float value;
  };
  static constexpr std::size_t kFamilies = 6;  // major, dominant, minor, diminished, augmented, suspended
  static constexpr std::size_t kNoChord = kTableChords;
  // Family of a class, 0..5.
  static std::size_t family(std::size_t quality_class);

  std::array<Row, kTableChords + 1> after;           // by the last chord
  std::array<Row, 12 * kFamilies + 1> after_second;  // by root and family of the second last
  std::array<std::array<Row, kFamilies + 1>, 3>
      seen_from;                 // by family of the second, third, fourth last, from its root
  Row restated;                  // the last chord was stated twice; from its root
  std::array<Row, 5> by_length;  // spans of up to 1, 2, 3, 4 beats, and longer
  std::array<std::array<float, kQualityClasses>, kQualityClasses> by_style;  // [class heard][class]
  std::array<Row, 12> note, held, first, last;                               // by note above the tonic
  std::array<Row, 12> long_note;
  struct Again {
    float second, third, fourth, circle_of_two, circle_of_three;
  } again;
  static constexpr std::size_t kTakeWeights = 12;
  std::array<float, kTakeWeights> take;           // in the order of TakeMemory's findings
  std::vector<Listed> after_two, after_two_seen;  // sorted by context

 private:
  RankingTable() = default;
};

}  // namespace undersong::harmony
