// The best way through the lattice of pulses for a take that is known as a whole.
//
// Threads: pure. Errors: none. Times: Micros of the take. Source: as harmony/beat_lattice.h, with the way
// back (Viterbi).
#pragma once

#include <vector>

#include "daemon/harmony/beat_lattice.h"
#include "daemon/takes/beats.h"

namespace undersong::takes {

// A silence counts as at most so long, so that work and memory grow with the notes and not with the span.
inline constexpr Micros kLongestGap{10'000'000};
// From the first to the last, silences counted so. `onsets` ascending, at least one.
Micros played_for(const std::vector<harmony::BeatOnset>& onsets);

// What each note says of the beats. A note that is followed by a rest or held on, among shorter ones, is an
// accent.
std::vector<harmony::BeatOnset> weighed(const std::vector<PlayedNote>& notes);

struct Path {
  std::vector<Beat> beats;  // ascending, not yet barred, each where its notes lie
  float score = 0;          // how well they explain the notes; natural logarithm, 0 is chance
};
// `onsets` ascending, at least one.
Path best_path(const std::vector<harmony::BeatOnset>& onsets, const harmony::BeatPrior& prior);

}  // namespace undersong::takes
