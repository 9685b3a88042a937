// What usually follows: how likely each chord is under these notes, after these chords, in this key.
//
// Source: the learnt table (ranking_table.h). Pure; no allocation.
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/ranking_table.h"
#include "daemon/harmony/relation.h"
#include "daemon/harmony/take_memory.h"

namespace undersong::harmony {

// The notes of a span of melody: how long each sounded, and which came first and last.
struct Phrase {
  std::array<float, 12> weight{};  // by pitch class, any unit; all zero = no phrase
  PitchClass held;                 // the one that matters most
  PitchClass first, last;
  float beats = 2;  // how long the span lasts, about

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

// Which idiom is heard, from the take if there is one, else from the chords before. `lean`: the player
// expects this one, which makes it about twenty times likelier.
IdiomShares idiom_shares(const std::optional<Key>& key, const ChordsBefore& before, const TakeMemory* take,
                         std::optional<Idiom> lean, const RankingTable& table);

// Logarithms, up to a constant; [absolute root * 13 + class]. Without a key, the mean over the keys that hold
// the notes.
void usual_chords(const Phrase& phrase, const std::optional<Key>& key, const ChordsBefore& before,
                  const TakeMemory* take, const RankingTable& table, ChordScores& out,
                  std::optional<Idiom> lean = std::nullopt);

}  // namespace undersong::harmony
