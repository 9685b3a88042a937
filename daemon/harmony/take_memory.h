// What was heard earlier in the take: which chords, over which notes. Ranking learns from it while the player
// plays.
//
// Pure; no allocation; the newest 512 chords.
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
  // `held`: the melody note that mattered; `notes`: all of the melody while the chord stood (empty: nobody
  // knows).
  void add(const Chord& chord, std::optional<PitchClass> held, PitchClassSet notes);
  void clear() { size_ = 0; }
  bool empty() const { return size_ == 0; }

  // Adds to `scores` ([absolute root * 13 + class]) what the take so far makes likelier under these notes
  // after the newest chord it knows. Weights in the order: heard, how often, its family, after the last
  // chord, share of that, after the last two, three, over the held note, share of that, after the last over
  // the held, over the same notes.
  void add_scores(PitchClass held, PitchClassSet notes,
                  const std::array<float, RankingTable::kTakeWeights>& weights, ChordScores& scores) const;

  // What its chords tell of the idiom, as logarithms; without a key only their qualities and steps tell.
  IdiomShares idiom_evidence(std::optional<PitchClass> tonic, const RankingTable::Gate& gate) const;

 private:
  struct Entry {
    std::uint8_t chord;  // kTableChords: of no class
    std::uint8_t held;   // 255: unknown
    std::uint16_t notes;
  };
  static constexpr std::size_t kMost = 512;
  std::array<Entry, kMost> entries_{};
  std::size_t size_ = 0;
};

}  // namespace undersong::harmony
