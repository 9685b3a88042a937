// BeatEar: judges each strike while somebody plays, from the strikes heard so far: how likely it falls on a
// beat and begins a bar, how long a beat is, and how many beats a bar has.
//
//   const Judgement& judged = ear.hear(strike);
//
// Units: Micros of one stream; see strike_net.h.
// Threads: one owner. No allocation after the first construction.
// Errors: none; all functions are total.
// Source: strike_net.h; weights learnt by learning/train_beats.py --causal, see the README there.
#pragma once

#include <array>
#include <cstddef>

#include "daemon/harmony/strike_ear.h"
#include "daemon/harmony/strike_net.h"

namespace undersong::harmony {

class BeatEar {
 public:
  BeatEar();
  const Judgement& hear(const StruckNotes& strike);

 private:
  static constexpr std::size_t kHidden = 32, kReaches = 4, kKept = 32;
  void layers();

  StrikeEar ear_;
  StrikeInputs inputs_{};
  std::size_t heard_ = 0;
  // What each convolution hears, of the last strikes.
  std::array<std::array<std::array<float, kHidden>, kKept>, kReaches> rows_{};
  std::array<float, kJudgedRow> row_{};
  Judgement judged_;
};

}  // namespace undersong::harmony
