// The best bars over a row of beats: how many beats each bar has, and where bars begin.
//
// Every bar may have 2, 3, 4, 5 or 7 beats. Bars usually keep their number of beats; a bar of another length,
// and a bar that breaks off, have a cost.
//
// Units: natural logarithms, 0 is chance.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: the bar pointer of Whiteley, Cemgil & Godsill (2006) at the level of beats, as in Krebs, Boeck &
// Widmer (2013); the path is found by backtracking (Viterbi).
#pragma once

#include <vector>

#include "daemon/harmony/bar_lattice.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/strikes.h"

namespace undersong::takes {

struct BarPath {
  std::vector<bool> downbeats;  // for each beat
  int meter = 4;                // beats a bar, in most bars
  float score = 0;              // how well the bars explain the strikes
};
// `beats` and `strikes`: ascending. `uncommon` and `two`: as in BarLattice.
BarPath best_bars(const std::vector<Beat>& beats, const std::vector<Strike>& strikes, float uncommon = 1,
                  float two = harmony::BarLattice::kTwo);

}  // namespace undersong::takes
