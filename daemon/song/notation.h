// From ticks to note values: a bar of a melody as the notes, rests and ties that are put on paper.
//
// A value never hides the beat: notes are cut, and tied, where a reader looks for one, but for whole and
// dotted values that begin on a beat and plain syncopations. Rests don't syncopate. A beat with a point on
// its thirds is a tuplet. Threads: pure. Total for notes as from quantise.h, place_freely. Source: common
// practice, no source.
#pragma once

#include <span>
#include <string_view>
#include <vector>

#include "daemon/song/form.h"

namespace undersong::song {

enum class Mark : std::uint8_t { kNone, kBegin, kContinue, kEnd, kForwardHook, kBackwardHook };

struct Symbol {                       // one note or rest on paper
  Ticks at, length;                   // sounding; `at` from the beginning of the part
  const WrittenNote* note = nullptr;  // null: a rest
  bool whole_bar = false;             // a rest that fills its bar
  std::string_view type;              // "quarter"
  int dots = 0;
  int actual = 1, normal = 1;  // tuplet: so many in the time of so many; 1, 1 where there is none
  Mark tuplet = Mark::kNone;   // kBegin, kEnd
  bool tied_before = false, tied_after = false;
  Mark beams[3] = {Mark::kNone, Mark::kNone, Mark::kNone};  // eighth, sixteenth, thirty-second
};

// `notes` by beginning, one voice; those that reach into the bar are cut at its lines and tied.
// `cuts`, ascending: where rests are cut because something begins there, as chords do.
std::vector<Symbol> write_bar(std::span<const WrittenNote> notes, Ticks from, Ticks length,
                              std::span<const Ticks> cuts = {});

}  // namespace undersong::song
