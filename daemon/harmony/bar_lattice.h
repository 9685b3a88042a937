// BarLattice: every way in which bars could run over the beats so far, each with a score for how well it
// explains the strikes.
//
// A hypothesis is a metre (2, 3, 4, 5 or 7 beats a bar) and a place in the bar. Bars usually keep their
// number of beats; a bar of another length and a bar that breaks off have a cost. What is being played reads
// the best hypothesis (beat_tracker.h); for a finished take the way back is kept (takes/bar_path.h).
//
// Units: scores are natural logarithms, 0 is chance.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: the bar pointer of Whiteley, Cemgil & Godsill (2006), at the level of beats, as in Krebs, Boeck &
// Widmer (2013). The costs are our own.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "daemon/harmony/strike_net.h"

namespace undersong::harmony {

// What is known of one beat: logarithms of how much likelier than chance it is as a downbeat and as another
// beat, and in each metre.
struct BarEvidence {
  float down = 0, other = 0;
  std::array<float, kMetres.size()> metres{};
};
// `strike`: the one on the beat; null if there is none.
BarEvidence bar_evidence(const Judgement* strike);

class BarLattice {
 public:
  static constexpr std::size_t kStates = [] {
    std::size_t sum = 0;
    for (const int metre : kMetres) sum += static_cast<std::size_t>(metre);
    return sum;
  }();
  // In a bar of four the third beat is strong, too, which looks like two bars of two.
  static constexpr float kTwo = .5f;
  struct State {
    std::size_t metre = 0;  // index in kMetres
    int place = 0;          // 0 is the downbeat
  };
  static State state(std::size_t index);

  // `uncommon`: the weight of what bars of other than four beats cost. `two`: cost of each bar of two beats.
  explicit BarLattice(float uncommon = 1, float two = kTwo) : uncommon_(uncommon), two_(two) {}

  // The next beat. `begins`: the pulse begins here, or begins again.
  void beat(const BarEvidence& evidence, bool begins);
  std::size_t best() const;  // index of the best state
  float score() const { return score_[best()]; }
  // For each state at the last beat, the state before it.
  const std::array<std::uint8_t, kStates>& came_from() const { return came_from_; }

 private:
  float uncommon_, two_;
  bool any_ = false;
  std::array<float, kStates> score_{};
  std::array<std::uint8_t, kStates> came_from_{};
};

}  // namespace undersong::harmony
