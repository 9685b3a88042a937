// The loop: the chord cycle that was circled in a take, each time round, and how the times differ.
//
// Every run of chords that comes again is a candidate. Each is laid along the take by dynamic programming
// (the chord, another in its place, one left out, one put in, or outside the loop altogether), and the one
// that explains most for its own length is the loop. It begins where playing enters it from outside.
//
// Times: Micros of the take. Threads: pure. Errors: nullopt when no run of chords comes round often enough to
// be more than chance. Source: minimum description length, Rissanen (1978); alignment, Needleman & Wunsch
// (1970); weights are ours.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"

namespace undersong::takes {

struct LoopChord {
  harmony::Chord chord;
  harmony::NoteName root;
  double beats = 0;  // 0 when there is no pulse
  Micros length{};   // median over the passes
};

struct LoopPass {
  struct Place {                       // one for each chord of the cycle
    Micros begin{}, end{};             // equal: left out
    std::optional<ChordSpan> instead;  // what was played there when it was another chord
    int more = 0;                      // chords put in after it
  };
  Micros begin{}, end{};
  std::vector<Place> places;
  bool cut = false;      // begins or ends within the cycle
  bool variant = false;  // another chord, one more, or one left out
  int transposed = 0;    // semitones upwards, -5..6
};

struct Loop {
  std::vector<LoopChord> chords;
  std::vector<LoopPass> passes;  // by beginning
  double confidence = 0;         // 0..1
};

std::optional<Loop> find_loop(const HeardTake& take, const Beats& beats);

// Beats as found from the notes and the settled chords of a take.
Beats first_beats(const HeardTake& take);

// Beats of the take without those that were only fitted to free playing outside the loop: where a take is
// mostly loop, and what lies outside does not keep time as the loop does. The others, and those of a clock,
// stay as they are.
Beats without_free_playing(const Beats& beats, const Loop& loop);

// "Ab7 instead of G7, cut short": what differs, in plain words; empty if nothing does.
std::string describe_difference(const Loop& loop, const LoopPass& pass);

}  // namespace undersong::takes
