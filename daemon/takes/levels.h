// The metrical levels at which a take could be counted, and the one that a musician would choose.
//
// Every plausible level is tried on the whole take. Which one is chosen depends on how well its beats and
// bars explain the strikes, and on what is usual: how long a beat and a bar are in each metre, how many
// strikes a beat has, how long chords last, whether beats have three parts.
//
// Units: seconds and their natural logarithms.
// Threads: pure functions; call them from any thread. They have helper threads of their own named "aside-2".
// Errors: none; all functions are total.
// Source: a conditional logit over the levels (McFadden 1974); weights learnt by
// daemon/harmony/learning/train_levels.py, see the README there.
#pragma once

#include <array>
#include <vector>

#include "daemon/takes/bar_path.h"
#include "daemon/takes/beat_path.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/strikes.h"

namespace undersong::takes {

inline constexpr std::size_t kLevelFeatures = 25;

struct Level {
  double beat = 0;  // the usual length of its beats, seconds
  Path path;
  BarPath bars;
  std::array<float, kLevelFeatures> features{};
  bool freely = false;  // played with a tempo that bends
  float value() const;  // the greatest wins
};

// `onsets`: the evidence for beats, ascending, one or more. `first`: the best path without a level in mind.
// Empty if it has too few beats to say anything. `reached`: see beats.h.
std::vector<Level> tried_levels(const std::vector<harmony::BeatOnset>& onsets, const Path& first,
                                const Path& other, const std::vector<Strike>& strikes,
                                const std::vector<Micros>& chord_changes, bool freely,
                                const BeatsReached& reached = {});

// The same from the notes of a take, for learning.
std::vector<Level> levels_of(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes);

// The best bars. Bars of two beats are rare where the beats are not divided in three (as in 6/8): what looks
// like them is usually half a bar of four.
BarPath usual_bars(const std::vector<Beat>& beats, const std::vector<Strike>& strikes);

// How the strikes divide the beats.
harmony::FeelNow feel_of(const std::vector<Beat>& beats, const std::vector<Strike>& strikes);

// The lengths of the beats in seconds, without gaps; how far they keep one tempo.
std::vector<double> lengths_of(const std::vector<Beat>& beats);
bool steady(const std::vector<double>& lengths);
// The most common beat length, weighted by time, in seconds.
double commonest(const std::vector<double>& lengths);
// The prior that follows a player who keeps the tempo, or bends it, around that length.
harmony::BeatPrior prior_at(double beat, const std::vector<double>& lengths);

}  // namespace undersong::takes
