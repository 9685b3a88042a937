// A vamp: one chord that is played again and again, bar after bar.
//
// Units: Micros of the take.
// Threads: pure functions; call them from any thread.
// Errors: none; nullopt if there is no vamp.
// Source: common practice, no source; the thresholds are our own.
#pragma once

#include <optional>
#include <vector>

#include "daemon/takes/segments.h"

namespace undersong::takes {

struct Vamp {
  std::size_t first = 0, last = 0;  // segments, both included
  int root = 0;
  std::vector<Micros> begins;  // of its bars, and where the last one ends
  double share = 0;            // of its time that is this chord
  double regular = 0;          // how much its bars agree below the melody, each with the one before: 0..1
};

// The longest vamp among the segments marked as usable.
std::optional<Vamp> find_vamp(const HeardTake& take, const Beats& beats, const std::vector<Segment>& segments,
                              const std::vector<bool>& usable);

}  // namespace undersong::takes
