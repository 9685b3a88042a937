// Chords with a rhythm of their own, in one line as musicians write them:
//
//   "Cm7 . Ab | G7 | Fm7 Bb7 | % "
//
// Bars are separated by "|". In a bar, chords and beats in which the chord goes on ("." or "/") stand side by
// side. If they divide the bar evenly into beats, half beats or longer, they do so; else each is a beat and
// the last one lasts to the end of the bar. "%" repeats the chord before for a whole bar.
//
// Units: Ticks; `meter` in beats per bar.
// Threads: pure functions; call them from any thread.
// Errors: one sentence, without where it is.
// Source: common practice, no source.
#pragma once

#include <string_view>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/song/form.h"

namespace undersong::song {

inline constexpr std::size_t kMostChordBars = 256;

struct ChordLine {
  std::vector<WrittenChord> chords;
  Ticks length;
};
Result<ChordLine> read_chord_line(std::string_view line, int meter);

// What is wrong with a line in any metre: a word that is no chord, no bar, no chord at the beginning.
Result<void> check_chord_line(std::string_view line);

}  // namespace undersong::song
