// The best path through the beat lattice for a whole take.
//
// Units: Micros of the take.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total for the inputs they name.
// Source: the lattice and its sources are in harmony/beat_lattice.h; the path is found by backtracking
// (Viterbi).
#pragma once

#include <vector>

#include "daemon/harmony/beat_lattice.h"
#include "daemon/takes/beats.h"

namespace undersong::takes {

// Every silence counts as at most this long, so work and memory grow with the notes and not with the time.
inline constexpr Micros kLongestGap{10'000'000};
// Time from the first to the last onset, with every silence counted as above. `onsets`: ascending, one or
// more.
Micros played_for(const std::vector<harmony::BeatOnset>& onsets);

// Weighs each note as evidence for the beat. A note that is followed by a rest, or held longer than its
// neighbours, gets an accent.
std::vector<harmony::BeatOnset> weighed(const std::vector<PlayedNote>& notes);

struct Path {
  std::vector<Beat> beats;  // ascending, without bars; each beat is moved to the notes near it
  float score = 0;          // how well the beats explain the notes: natural logarithm, 0 is chance
};
// `onsets`: ascending, one or more.
Path best_path(const std::vector<harmony::BeatOnset>& onsets, const harmony::BeatPrior& prior);

}  // namespace undersong::takes
