// LiveStrikes: judges each strike at once: how likely it falls on a beat and begins a bar, how long a beat is
// there, and how many beats a bar has. It knows only what came before; a finished take is judged by
// takes/strikes.h, which also knows what follows.
//
//   LiveStrikes strikes;
//   const Judgement judged = strikes.hear(strike);
//
// Units: Micros of one stream, not descending; probabilities 0..1; natural logarithms.
// Threads: one owner. No allocation after construction.
// Errors: none; all functions are total.
// Source: strike_net.h. Its convolutions reach back only, so each layer keeps its last rows; van den Oord et
// al. (2016), "WaveNet". Weights: learning/train_beats.py --live, see the README there.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "daemon/harmony/strike_ear.h"
#include "daemon/harmony/strike_net.h"

namespace undersong::harmony {

class LiveStrikes {
 public:
  LiveStrikes();
  Judgement hear(const StruckNotes& strike);
  // Forgets all strikes.
  void reset();

 private:
  static constexpr std::size_t kUnits = 64;
  static constexpr std::array<std::size_t, 7> kReach{1, 2, 4, 8, 16, 32, 64};  // in strikes
  using Row = std::array<float, kUnits>;
  // What a layer heard: the newest row, and twice its reach before that.
  struct Past {
    std::vector<Row> rows;
    std::size_t next = 0;
  };
  StrikeEar ear_;
  std::array<Past, kReach.size()> past_;
};

}  // namespace undersong::harmony
