// The melody that several passes have in common: what was meant, without the slips of single passes.
//
// Passes vote on each position (within a sixteenth). A note is written if more than half of the passes have
// it. If more than half have some note there but no pitch has a majority, the most frequent pitch is written.
// A note that only a minority plays is left out, so every written note was really played, but not all by one
// pass. Two passes cannot outvote each other: there the one that agrees best with the others is followed.
//
// Units: Ticks from the beginning of a strain.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: majority vote over aligned versions, as in ROVER, Fiscus (1997); the slack is our own.
#pragma once

#include <vector>

#include "daemon/song/form.h"

namespace undersong::song {

// `melodies`: one voice each, ordered by beginning. `doubts`: the one to follow where there is no majority.
std::vector<WrittenNote> consensus(const std::vector<std::vector<WrittenNote>>& melodies, std::size_t doubts);

// The stricter vote, for a line that may be improvised anew each time: a note is agreed on only if more than
// half of the passes play it there, in any octave; the most frequent octave is written. Two passes must both
// have it; one pass agrees with itself.
struct Agreement {
  std::vector<WrittenNote> notes;
  std::vector<Ticks> disputed;  // positions where half of the passes or more play, but not the same
};
Agreement agreement_of(const std::vector<std::vector<WrittenNote>>& lines);

}  // namespace undersong::song
