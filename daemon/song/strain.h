// One time through something, written down: a pass of the loop on the loop's own beats, or any stretch of a
// take.
//
// Threads: pure. Total. Names of notes and roots are those that were heard; spell_form names them all at the
// end. Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/song/bars.h"
#include "daemon/song/form.h"

namespace undersong::song {

// The loop in written beats: where its chords begin, and how long it is. Starts are medians over the passes,
// rounded together so that the whole has full bars where it nearly has.
struct Cycle {
  std::vector<Ticks> starts;
  Ticks length;
  bool free = false;  // no pulse: each chord has its own bar
};
Cycle cycle_of(const takes::Loop& loop, const Bars& bars, const std::vector<takes::PlayedNote>& melody);

struct Strain {
  Ticks length;
  std::vector<WrittenChord> chords;
  std::vector<WrittenNote> melody;
  bool free = false;
  bool whole = false;  // a full pass, chord for chord, not transposed: may be folded with its like
  Micros begin{}, end{};
};

// What a strain is made from.
struct Heard {
  const takes::HeardTake& take;
  const std::vector<takes::PlayedNote>& melody;  // as from melody_line
  const Bars& bars;
};

// On the loop's own beats; where it was said that bars begin elsewhere than the loop does, from bar line to
// bar line.
Strain write_pass(const Heard& heard, const takes::Loop& loop, const takes::LoopPass& pass,
                  const Cycle& cycle);

// Spans `first` to `last` (not included) of the take on the take's own beats, from a whole beat to a whole
// beat. Free where no beats were heard. `fill_front`: a part of a bar that is left over is filled with rests
// in front, not behind.
Strain write_stretch(const Heard& heard, std::size_t first, std::size_t last, bool fill_front);

// The take between two bar lines.
Strain write_bars(const Heard& heard, Ticks from, Ticks to);

}  // namespace undersong::song
