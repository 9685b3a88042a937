// The player's own idiom: which chords this player goes to in all kept takes. The ranking leans to them from
// the first note of an evening on.
//
//   PlayerCounts counts;
//   counts.add(played, PlayerCounts::fade_of(age));   // every chord of every take; age in takes, 0 = newest
//   const PlayerMemory memory(counts);
//   question.player = &memory;
//
// Everything is seen from the tonic of the key signature, so that what was played in one key counts in every
// key. A chord counts by what the player did with it (PlayedChord::weight) and fades with every newer take:
// after kHalfLife (40) takes it counts half.
//
// What counts is not how often the player plays a chord, but how much more often than as many usual chords
// would be: by itself, under each note, and after each quality against what is usual in songs, pop and jazz
// (player_table.inc), and after each chord against what this player plays after its quality. A single chord
// proves little. Roots and the qualities on a root are weighed apart, and a taste for a quality does not move
// the roots.
//
// Units: chords as in the ranking table, root above the tonic * 13 + class of quality; notes in semitones
// above the tonic; scores are natural logarithms.
// Threads: values; one owner while they are filled, then any reader. No allocation; about 120 kB each.
// Errors: none; all functions are total. Chords and notes out of range are passed over.
// Source: tables and weights learnt, player_table.inc, where the notices are. Method: the ratio of counts to
// a background as in Kneser, Peters & Klakow (1997), "Language model adaptation using dynamic marginals".
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "daemon/harmony/pitch.h"
#include "daemon/harmony/ranking_table.h"
#include "daemon/harmony/relation.h"

namespace undersong::harmony {

// One chord that was played, with what stood before it and over it.
struct PlayedChord {
  static constexpr std::uint8_t kNoChord = kTableChords, kNoNote = 12;
  std::uint8_t second = kNoChord, last = kNoChord;  // the chords before it, the newest is `last`
  std::uint8_t chord = kNoChord;
  std::uint8_t held = kNoNote;  // the melody note over it
  float weight = 1;             // how much it counts, 0..kMostWeight
  static constexpr float kMostWeight = 4095;
  friend constexpr bool operator==(const PlayedChord&, const PlayedChord&) = default;
};

// The chord as a PlayedChord has it, from the tonic of the signature; kNoChord if it is of no class.
std::uint8_t seen_from(PitchClass tonic, const Chord& chord);

// What the chords of all takes add up to.
class PlayerCounts {
 public:
  static constexpr int kHalfLife = 40;  // takes
  static float fade_of(std::size_t age_in_takes);

  void add(const PlayedChord& played, float fade);
  bool empty() const { return total_ <= 0; }

  // What the player goes to most: single chords, and steps from one chord to the next, by their share of all
  // that was counted. At most out.size(), greatest first; returns how many.
  struct Habit {
    std::uint8_t last = PlayedChord::kNoChord;  // kNoChord: a single chord
    std::uint8_t chord = PlayedChord::kNoChord;
    float share = 0;  // 0..1
  };
  std::size_t most_played(std::span<Habit> out) const;
  std::size_t usual_steps(std::span<Habit> out) const;

  using Row = std::array<float, kTableChords>;
  const Row& chords() const { return chords_; }
  // By the last chord, kTableChords: none.
  const std::array<Row, kTableChords + 1>& after() const { return after_; }
  const std::array<Row, 12>& under() const { return under_; }  // by the note held over it
  // By the class of the last chord, kQualityClasses: none; the chords seen from its root.
  const std::array<Row, kQualityClasses + 1>& turned() const { return turned_; }

 private:
  Row chords_{};
  std::array<Row, kTableChords + 1> after_{};
  std::array<Row, 12> under_{};
  std::array<Row, kQualityClasses + 1> turned_{};
  float total_ = 0;
};

// What follows from the counts for the ranking. Made once for each change of the counts.
class PlayerMemory {
 public:
  explicit PlayerMemory(const PlayerCounts& counts);

  static constexpr float kLean = 2;  // how much more it counts if the player leans to the own idiom
  // Adds to `scores` ([absolute root * 13 + class]) what makes a chord likelier after these, under this note,
  // in a key whose signature has this tonic. `much`: usually 1.
  void add_scores(PitchClass tonic, const ChordsBefore& before, PitchClass held, float much,
                  ChordScores& scores) const;

 private:
  // What a table adds: to each root, and to each quality on it; seen from where the table is seen from.
  struct Adds {
    std::array<float, 12> root;
    PlayerCounts::Row quality;
  };
  static Adds weighed(const PlayerCounts::Row& counts, const PlayerCounts::Row& usual, float root_weight,
                      float quality_weight);
  std::array<Adds, 12> under_;  // with what the player plays under any note
  std::array<Adds, kQualityClasses + 1> turned_;
  std::array<Adds, kTableChords + 1> after_;
};

}  // namespace undersong::harmony
