// What usually follows: how likely each chord is under these notes, after these chords, in this key.
//
// Units: scores are natural logarithms, up to a constant.
// Threads: any; pure functions. No allocation.
// Errors: none; all functions are total.
// Source: the learnt table (ranking_table.h).
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/ranking_table.h"
#include "daemon/harmony/relation.h"
#include "daemon/harmony/take_memory.h"

namespace undersong::harmony {

// The notes of a stretch of melody: how long each sounded, and which came first and last.
struct Phrase {
  std::array<float, 12> weight{};  // indexed by pitch class, in any unit; all zero: no phrase
  PitchClass held;                 // the note that matters most
  PitchClass first, last;
  float beats = 2;  // approximate length of the stretch

  void add(PitchClass note, float sounded) {
    if (empty()) first = held = note;
    weight[static_cast<std::size_t>(note.value())] += sounded;
    last = note;
  }
  float total() const {
    float sum = 0;
    for (float w : weight) sum += w;
    return sum;
  }
  bool empty() const { return total() <= 0; }
  friend constexpr bool operator==(const Phrase&, const Phrase&) = default;
};

// How much each idiom seems to be heard: judged from the take if there is one, otherwise from the chords
// before. `lean`: the idiom that the player expects; it counts as about twenty times likelier.
IdiomShares idiom_shares(const std::optional<Key>& key, const ChordsBefore& before, const TakeMemory* take,
                         std::optional<Idiom> lean, const RankingTable& table);

// Writes logarithms, up to a constant, as [absolute root * 13 + class]. Without a key, the mean over the keys
// that contain the notes. `take` may be null.
void usual_chords(const Phrase& phrase, const std::optional<Key>& key, const ChordsBefore& before,
                  const TakeMemory* take, const RankingTable& table, ChordScores& out,
                  std::optional<Idiom> lean = std::nullopt);

}  // namespace undersong::harmony
