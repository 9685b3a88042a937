// Finds beats and bars when the whole take is known, and applies the player's corrections to all of them.
//
// A player usually keeps one metrical level, so find_beats tries several levels on the whole take and keeps
// the best. If the playing is steady, passages that do not keep the pulse get no beats; if the tempo bends,
// the beats follow it. Work and memory grow with the number of notes, not with the time between them. In a
// take of more than four hours (long silences are not counted) only the first four hours get beats.
//
// Units: Micros of the take.
// Threads: pure functions; call them from any thread. While it works, find_beats has helper threads of its
// own named "aside-2" (base/helper.h) and waits for them before it returns. Errors: none; a take without a
// pulse has no beats. Source: the lattice and its sources are in harmony/beat_lattice.h; the path is found by
// backtracking (Viterbi). Whether there is a pulse is tested against the same notes with random time shifts
// (surrogate data, Theiler et al. 1992). Bars are found by dynamic programming over metre and position, from
// bass notes and new chords: common practice, no source.
#pragma once

#include <cstddef>
#include <functional>
#include <vector>

#include "daemon/harmony/feel.h"
#include "daemon/takes/played_notes.h"

namespace undersong::takes {

struct Beat {
  Micros at{};
  bool downbeat = false;
  bool begins = false;   // the pulse starts here, or starts again after a passage without one
  bool clocked = false;  // given by an external MIDI clock
};

struct Beats {
  std::vector<Beat> beats;  // ascending
  int meter = 4;            // beats per bar in most bars
  harmony::FeelNow feel{};  // how most beats are divided
  bool barred = false;      // the player or a clock said where bars begin; the analysis must not move them
  // 0..1. Grows with how many notes fall on beats, how even the beats are, and how much better they fit than
  // by chance.
  float confidence = 0;
  // If false, the beats are only a rough fit; count in chord changes instead.
  // What the player said outranks the doubt.
  bool pulse() const { return beats.size() > 3 && (barred || confidence >= .2f); }
};

// Called with the share of the work that is done, on the calling thread; what it throws ends the search.
using BeatsReached = std::function<void(double share)>;

// `notes`: ordered by beginning. `chord_changes`: when settled chords begin, ascending; may be empty.
Beats find_beats(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes = {},
                 const BeatsReached& reached = {});

// The median beat length, without gaps between stretches of pulse; 0 if there is none.
Micros usual_length(const Beats& beats);

// The player's corrections. Each returns the corrected beats. twice_as_fast and half_as_fast return the beats
// unchanged if the usual tempo would leave 20 to 400 beats per minute.
Beats twice_as_fast(const Beats& beats);
Beats half_as_fast(const Beats& beats);  // keeps the downbeats where the bars allow it
// The beat nearest to `at` begins a bar. Bars of `meter` beats are counted from it in both directions,
// through the whole take.
Beats with_beat_one(const Beats& beats, Micros at, int meter);

}  // namespace undersong::takes
