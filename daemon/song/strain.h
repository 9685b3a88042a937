// A strain: one pass of the loop, or any stretch of a take, in written notation.
//
// Notes and roots keep the names that were heard; spell_form renames them at the end.
//
// Units: Ticks from the beginning of the strain; Micros of the take.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total for the ranges they name.
// Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/song/bars.h"
#include "daemon/song/form.h"

namespace undersong::song {

// The loop in written beats: where each chord begins, and the total length. Positions are medians over the
// passes, rounded together so that the loop has whole bars if it nearly does.
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
  std::vector<WrittenNote> bass;  // one voice; empty in free strains
  bool free = false;
  bool whole = false;  // a complete pass, without extra or missing chords; it may be folded
  int transposed = 0;  // semitones above the loop
  Micros begin{}, end{};
};

// The material for strains.
struct Heard {
  const takes::HeardTake& take;
  const std::vector<takes::PlayedNote>& melody;  // from melody_line()
  const Bars& bars;
  const std::vector<takes::PlayedNote>* bass = nullptr;  // from bass_line(); null: no bass line is written
};

// Writes a pass on the beats of the loop. If somebody said that bars begin elsewhere than the loop does,
// writes it from bar line to bar line instead.
Strain write_pass(const Heard& heard, const takes::Loop& loop, const takes::LoopPass& pass,
                  const Cycle& cycle);

// Writes the spans from `first` up to but not including `last` on the beats of the take, in whole beats.
// Where no beats were heard, the strain is free. An incomplete bar is filled with rests: at its front if
// `fill_front`, else at its end.
Strain write_stretch(const Heard& heard, std::size_t first, std::size_t last, bool fill_front);

// Writes the take between two bar lines.
Strain write_bars(const Heard& heard, Ticks from, Ticks to);

}  // namespace undersong::song
