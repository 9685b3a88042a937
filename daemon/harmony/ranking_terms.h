// What the score of every candidate is made of, computed once for each question: how the notes weigh, how
// usual each chord is, and how far the hands must move.
//
// Units: scores have no unit; the learnt ones are natural logarithms.
// Threads: one owner for each object; made and read by any thread. No allocation.
// Errors: none. REQUIRES: a question with at least one melody note, which outlives the terms.
// Source: common practice, no source: the weights.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/lanes.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/pitch_class_set.h"
#include "daemon/harmony/ranking_table.h"
#include "daemon/harmony/transition.h"

namespace undersong::harmony {

inline constexpr float kFitWeight = 1.5f, kOlderNote = 0.7f;
inline constexpr float kUsualWeight = 0.35f;  // by root and triad
inline constexpr float kHandsWeight = 0.12f;  // per semitone of motion, averaged over the tones
inline constexpr float kSameChord = -6;       // the current chord is not an alternative to itself
inline constexpr float kFamiliarSpan = 12;    // natural logarithms from 1 to 0 on the familiar scale
inline constexpr float kGone = -1e30f;        // the score of an absent candidate

// How usual each chord is, and each root with each kind of triad, as logarithms; 0 for the most usual.
struct Usual {
  ChordScores chord;
  std::array<std::array<float, kTriads>, 12> triad;

  Usual(const Question& question, const Phrase& phrase, const RankingTable& table);
};

struct Terms {
  Terms(const Question& question, const Hands* hands, const RankingTable& table);

  const Question& question;
  std::size_t key;  // Offered::key_index
  Phrase phrase;
  Usual usual;
  // The distance of each pitch class from the hands, or without hands from the tones of the current chord; in
  // semitones, at most 7.
  std::array<float, 12> way;
  std::array<float, 12> share;  // of each pitch class in the phrase; sums up to one

  // The sum over the twelve intervals above `root` of what a candidate gains by fitting the phrase and the
  // held notes, and loses by the way of its tones from the hands. fit, tone: [interval][candidate].
  template <std::size_t N>
  [[gnu::always_inline]] void add_notes(std::size_t root, const std::array<std::array<float, N>, 12>& fit,
                                        const std::array<std::array<float, N>, 12>& tone, float* out) const {
    for (std::size_t interval = 0; interval < 12; ++interval) {
      const std::size_t pc = (root + interval) % 12;
      const float fits = weight_[pc], far = -kHandsWeight * way[pc];
      if (fits != 0)
        for (std::size_t i = 0; i < N; i += kLane)
          store(out + i, load(out + i) + fits * load(&fit[interval][i]) + far * load(&tone[interval][i]));
      else
        for (std::size_t i = 0; i < N; i += kLane)
          store(out + i, load(out + i) + far * load(&tone[interval][i]));
    }
  }

 private:
  std::array<float, 12> weight_;  // of each pitch class: half from the held notes, half from the phrase
};

}  // namespace undersong::harmony
