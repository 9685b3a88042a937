// The loop: the chord cycle that a take repeats, each pass through it, and how the passes differ.
//
// Every run of chords that occurs twice is a candidate. Each candidate is aligned with the take by dynamic
// programming: a chord fits, is replaced, left out, added, or lies outside the loop. The candidate that
// explains most of the take for its own length wins. The loop starts at the chord with which the player
// usually enters it from outside.
//
// Units: Micros of the take; lengths in beats where there is a pulse.
// Threads: pure functions; call them from any thread.
// Errors: none; find_loop returns nullopt if no run of chords repeats often enough to be more than chance.
// Source: minimum description length, Rissanen (1978); alignment, Needleman & Wunsch (1970). The weights are
// our own.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/loop_evidence.h"

namespace undersong::takes {

struct LoopChord {
  harmony::Chord chord;
  harmony::NoteName root;
  double beats = 0;  // 0 if there is no pulse
  Micros length{};   // median over the passes
};

struct LoopPass {
  struct Place {                       // one for each chord of the cycle
    Micros begin{}, end{};             // equal: the chord was left out
    std::optional<ChordSpan> instead;  // what was played here, if it was another chord
    int more = 0;                      // number of chords added after it
  };
  Micros begin{}, end{};
  Micros on_beat{};  // the beat on which it begins: a chord may be played a little before it
  std::vector<Place> places;
  bool cut = false;      // begins or ends in the middle of the cycle
  bool variant = false;  // a chord is replaced, added or left out
  int transposed = 0;    // semitones upwards, -5..6
};

struct Loop {
  std::vector<LoopChord> chords;
  std::vector<LoopPass> passes;  // ordered by beginning
  double confidence = 0;         // the probability that these chords were really circled
  LoopEvidence evidence;         // what it rests on
};

// Everything that could be a loop, however improbable, for learning what to believe.
std::vector<Loop> all_loops(const HeardTake& take, const Beats& beats);
// All loops of a take that are more probable than not: the one that explains most first, then others that
// explain what it does not.
std::vector<Loop> find_loops(const HeardTake& take, const Beats& beats);
// The first of them.
std::optional<Loop> find_loop(const HeardTake& take, const Beats& beats);

// Finds beats from the notes and the chord spans of a take.
Beats first_beats(const HeardTake& take, const BeatsReached& reached = {});

// Removes the beats of free playing outside the loops. It changes something only if most of the take is loop,
// and removes only stretches outside the loops that keep time clearly worse than the loops do. Beats from an
// external clock stay.
Beats without_free_playing(const Beats& beats, const std::vector<const Loop*>& loops);

// How the pass differs, for people: "2 semitones up, Ab7 instead of G7". Empty if it does not.
std::string describe_difference(const Loop& loop, const LoopPass& pass);

}  // namespace undersong::takes
