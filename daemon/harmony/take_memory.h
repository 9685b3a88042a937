// TakeMemory: which chords were heard earlier in the take, and over which notes. The ranking learns from it
// while the player plays.
//
// Keeps the newest chords: when kMost (512) are stored, the older half is forgotten.
//
// Units: scores are natural logarithms.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: weights learnt, ranking_table.h.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/pitch_class_set.h"
#include "daemon/harmony/ranking_table.h"

namespace undersong::harmony {

class TakeMemory {
 public:
  // Adds a chord. `held`: the melody note over it, nullopt if unknown. `notes`: all melody notes while the
  // chord stood; empty if unknown.
  void add(const Chord& chord, std::optional<PitchClass> held, PitchClassSet notes);
  void clear() { size_ = 0; }
  bool empty() const { return size_ == 0; }

  // Adds to `scores` ([absolute root * 13 + class]) what the take so far makes likelier over these notes
  // after the newest chord. The weights, in order: the chord was heard; log count heard; log count of its
  // family; log count after the last chord; share after the last chord; share after the last two; share after
  // the last three; log count over the held note; share over the held note; share after the last chord over
  // the held note; share after the last chord over the same notes; share over the same notes.
  void add_scores(PitchClass held, PitchClassSet notes,
                  const std::array<float, RankingTable::kTakeWeights>& weights, ChordScores& scores) const;

  // What its chords tell of the idiom, as logarithms; without a key only their qualities and steps tell.
  IdiomShares idiom_evidence(std::optional<PitchClass> tonic, const RankingTable::Gate& gate) const;

 private:
  struct Entry {
    std::uint8_t chord;  // index into the table; kTableChords: of no class
    std::uint8_t held;   // pitch class; 255: unknown
    std::uint16_t notes;
  };
  static constexpr std::size_t kMost = 512;
  std::array<Entry, kMost> entries_{};
  std::size_t size_ = 0;
};

}  // namespace undersong::harmony
