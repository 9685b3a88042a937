// How far a loop that was found can be believed: what speaks for it, and the probability that follows.
//
// Any take has runs of chords that come twice. What counts is how much more of the take a cycle explains than
// the best cycle of the same chords in a shuffled order does, how much of the take it covers, how well its
// passes agree with it, and how often it comes round without a break. The probability that the player really
// circled these chords is a logistic function of these, fitted to invented takes in which it is known.
//
// Units: shares 0..1; counts.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: comparing with shuffled data, Good (2005), "Permutation, parametric and bootstrap tests of
// hypotheses"; logistic calibration, Platt (1999). The weights were fitted with
// daemon/harmony/learning/train_loop.py.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

namespace undersong::takes {

struct Aligned;
struct Cycle;
struct Segment;

struct LoopEvidence {
  double coverage = 0;  // of the take's playing time, in its passes
  double rounds = 0;    // chords that fit, in rounds of the cycle
  double in_a_row = 0;  // whole rounds without a break, at most
  double fit = 0;       // mean over its chords, at most 1
  // Mean of how little its chords miss their usual lengths, 0..1. Of a vamp: how much each bar is played like
  // the one before.
  double regular = 0;
  double beyond_chance = 0;  // what it explains a chord, beyond the best cycle of the shuffled take
  double places = 0;         // chords of the cycle
  static constexpr std::size_t kCount = 7;
  std::array<double, kCount> values() const {
    return {coverage, rounds, in_a_row, fit, regular, beyond_chance, places};
  }
};

// `chance`: from worth_by_chance().
LoopEvidence evidence_of(const std::vector<Segment>& take, const std::vector<Cycle>& cycles,
                         const Aligned& aligned, std::size_t which, double chance);

// What the best cycle is worth a segment where the segments come in any order: the mean of several
// orders. The orders are the same at each call.
double worth_by_chance(const std::vector<Segment>& take);

// The probability, 0..1.
double confidence(const LoopEvidence& evidence);

}  // namespace undersong::takes
