// Beats and bars found at leisure, when the whole take is known; and the player's corrections, which re-bar
// it all.
//
// Threads: pure; while it works it has helpers of its own (base/helper.h), named "aside-2". Errors: none; a
// take without a pulse gives no beats. Times: Micros of the take. A player keeps one level: several are tried
// on the whole take. Where the playing is steady, passages that do not keep the pulse have no beats; a tempo
// that bends is followed. Time and memory grow with the notes, not with how far apart they are; a take of
// more than four hours, long silences not counted, has beats in its first four. Source: as
// harmony/beat_lattice.h, with the way back (Viterbi); a pulse is claimed against the same notes moved at
// chance (surrogate data, Theiler et al. 1992); bars by dynamic programming over metre and place, bass strikes
// and fresh chords voting, common practice, no source.
#pragma once

#include <cstddef>
#include <vector>

#include "daemon/takes/played_notes.h"

namespace undersong::takes {

struct Beat {
  Micros at{};
  bool downbeat = false;
  bool begins = false;   // the pulse begins here, or anew after a passage without one
  bool clocked = false;  // another machine's clock said so
};

struct Beats {
  std::vector<Beat> beats;  // ascending
  int meter = 4;            // beats a bar, most of the time
  bool barred = false;      // the player or a clock said where bars begin: nothing that was found moves them
  float confidence = 0;  // 0..1: how much of what was struck lies on beats, how steadily they come, how much
                         // better than by chance
  // Below that, beats are what could be fitted, and one had better count in chord changes.
  bool pulse() const { return beats.size() > 3 && confidence >= .2f; }
};

// `notes` by beginning. `chord_changes`: when settled chords begin, ascending; may be empty.
Beats find_beats(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes = {});

// How long beats are: the middle one of all lengths, 0 where there is none.
Micros usual_length(const Beats& beats);

// The player's corrections. Each gives all beats anew, or as they were where the usual length would leave 20
// to 400 a minute.
Beats twice_as_fast(const Beats& beats);
Beats half_as_fast(const Beats& beats);  // keeps the beats that begin bars, where bars allow it
// The beat nearest to `at` begins a bar; bars of `meter` beats run from there both ways, to the ends of its
// stretch.
Beats with_beat_one(const Beats& beats, Micros at, int meter);

}  // namespace undersong::takes
