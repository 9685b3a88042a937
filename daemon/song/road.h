// The way through a form: which part is played when, with all repeats and jumps, and how fast.
//
// After a jump every part is played once, with its last ending, as musicians do unless they are told
// otherwise. A ritardando slows the last two bars of its part to about two thirds of the tempo. A fermata
// halves the tempo from the last note or chord on. Both happen the last time that the part is played.
//
// Units: Ticks from the beginning of the song, without the count-in; beats per minute; seconds.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total. A jump that leads nowhere is passed over.
// Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/song/form.h"

namespace undersong::song {

struct Turn {
  std::size_t part = 0;  // index into the parts of the form
  int time = 1;          // which of its repeats
  Ticks at;              // where it begins
  bool last = false;     // the part is not played again
};
std::vector<Turn> road(const Form& form);

struct TempoStep {
  Ticks at;
  double tempo;
};
// Ascending, and each step changes the tempo. The first is at tick 0. Nothing is slower than kSlowestMark.
std::vector<TempoStep> tempo_steps(const Form& form, const std::vector<Turn>& road);

// The time from the beginning of the song to `at`.
double seconds_until(const std::vector<TempoStep>& steps, Ticks at);

// Where the ritardando and the fermata of a part begin in its last time.
Ticks ritardando_from(const Form& form, const Part& part);
Ticks fermata_from(const Part& part);

}  // namespace undersong::song
