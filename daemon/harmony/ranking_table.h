// The learnt table of what is usual: which chord is played under these notes, after these chords, in this
// key.
//
// Chords are relative to the tonic of the key signature (for a minor key, to the relative major), in thirteen
// classes of quality: 156 chords. There is a table for each of three idioms, weighed by how much each idiom
// seems to be heard, and one small network for all (network_*), whose outputs are added. The numbers are in
// ranking_table.inc, made by daemon/harmony/learning/train_ranking.py. The same text can be read from a file,
// to measure a table learnt from other pieces.
//
// Units: every number is a natural logarithm of how much likelier a chord becomes; the numbers are added.
// Threads: any; tables are read-only.
// Errors: `from` returns nullopt if the numbers do not fit or have another version. Allocates only when a
// table is made. Source: weights learnt from OpenEWLD (songs of about 1850 to 1930), POP909 and the Weimar
// Jazz Database; the notices are in ranking_table.inc. Method: smoothing by Witten & Bell (1991), conditional
// logit by McFadden (1974), one hidden layer.
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
// The simplest chord of a class: `chord` is root * 13 + class, below kTableChords.
Chord plainest(std::size_t chord);

using ChordScores = std::array<float, kTableChords>;  // [root above the tonic * 13 + class]

// What was learnt from: old songs, pop, jazz. Numbers are stored in settings: never renumber.
enum class Idiom : std::uint8_t { kSongbook, kPop, kJazz };
inline constexpr std::size_t kIdioms = 3;
using IdiomShares = std::array<float, kIdioms>;  // how much each is heard, 0..1, one in all; or logarithms

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

  static constexpr std::size_t kTakeWeights = 12;
  struct OfIdiom {
    std::array<Row, kTableChords + 1> after;           // by the last chord
    std::array<Row, 12 * kFamilies + 1> after_second;  // by root and family of the second last
    std::array<std::array<Row, kFamilies + 1>, 3>
        seen_from;                 // by family of the second, third, fourth last, from its root
    Row restated;                  // the last chord was stated twice; from its root
    std::array<Row, 5> by_length;  // spans of up to 1, 2, 3, 4 beats, and longer
    std::array<std::array<float, kQualityClasses>, kQualityClasses> by_style;  // [class heard][class]
    std::array<Row, 12> note, held, first, last;                               // by note above the tonic
    std::array<float, kTakeWeights> take;  // in the order of TakeMemory's findings
  };
  std::vector<OfIdiom> idiom;  // kIdioms of them, by Idiom

  // Which idiom is heard: logarithms that add up over the chords.
  struct Gate {
    IdiomShares at_first;
    std::array<IdiomShares, kQualityClasses> quality;
    std::array<std::array<std::array<IdiomShares, kQualityClasses>, 12>, kQualityClasses>
        step;                                     // [class][semitones up][class]
    std::array<IdiomShares, kTableChords> chord;  // seen from the tonic
  } gate;

  struct Again {
    float second, third, fourth, circle_of_two, circle_of_three;
  } again;
  std::vector<Listed> after_two, after_two_seen;  // sorted by context

  // One hidden layer; its inputs stand in the order of Input.
  static constexpr std::size_t kHidden = 64;
  using Units = std::array<float, kHidden>;
  enum Input : std::size_t {
    kChord = 0,                                  // the last chord, the second, third, fourth last, in the key
    kQuality = kChord + 4 * (kTableChords + 1),  // the class of the last
    kSeen = kQuality + kQualityClasses + 1,      // second, third, fourth last, seen from the last
    kShare = kSeen + 3 * (kTableChords + 1),     // of each note
    kHeldNote = kShare + 12,
    kFirstNote = kHeldNote + 12,
    kLastNote = kFirstNote + 12,
    kThere = kLastNote + 12,   // each note that sounds at all
    kSeenShare = kThere + 12,  // the share of each note above the root of the last chord
    kSeenHeld = kSeenShare + 12,
    kLength = kSeenHeld + 12,            // as by_length
    kStyle = kLength + 5,                // how often each class was heard
    kShares = kStyle + kQualityClasses,  // of the idioms
    kInputs = kShares + kIdioms,
  };
  std::vector<Units> network_in;  // [kInputs]
  Units network_bias;
  using WideRow = std::array<float, kTableChords + 4>;  // whole lanes; the last four are nothing
  std::vector<WideRow> network_out,
      network_out_seen;  // [kHidden]; the second from the root of the last chord

 private:
  RankingTable() = default;
};

}  // namespace undersong::harmony
