// From ticks to note values: one bar of a melody as the notes, rests and ties on paper.
//
// Notes are split and tied so that the beats stay visible. Exceptions are whole and dotted values that begin
// on a beat, and simple syncopations; rests are never syncopated. A quarter in which a note begins or ends on
// a third becomes a tuplet. In compound metres notes are tied from beat to beat, in fives and sevens of
// eighth notes from group to group, unless one value fills several; there are no tuplets, and half a dotted
// quarter is a dotted eighth. Beams join a beat or a group.
//
// Units: Ticks from the beginning of the part.
// Threads: pure; call it from any thread.
// Errors: none; the function is total for notes from quantise.h.
// Source: common practice, no source.
#pragma once

#include <span>
#include <string_view>
#include <vector>

#include "daemon/song/form.h"
#include "daemon/song/meter.h"

namespace undersong::song {

enum class Mark : std::uint8_t { kNone, kBegin, kContinue, kEnd, kForwardHook, kBackwardHook };

struct Symbol {                       // one note or rest on paper
  Ticks at, length;                   // as it sounds; `at` counts from the beginning of the part
  std::int64_t written = 0;           // the length on paper, 480 a quarter note
  const WrittenNote* note = nullptr;  // null: a rest
  bool whole_bar = false;             // a rest that fills its bar
  std::string_view type;              // "quarter"
  int dots = 0;
  int actual = 1, normal = 1;  // tuplet: `actual` notes in the time of `normal`; 1, 1 if there is none
  Mark tuplet = Mark::kNone;   // kBegin or kEnd at the ends of a tuplet
  bool tied_before = false, tied_after = false;
  Mark beams[3] = {Mark::kNone, Mark::kNone, Mark::kNone};  // eighth, sixteenth, thirty-second
};

// `notes`: ordered by beginning, one voice. Notes that cross a bar line are cut there and tied. `cuts`:
// ascending; rests are split here, because something such as a chord begins, and on the grid of the metre
// notes too. `length`: of a bar of this metre, or an incomplete one.
std::vector<Symbol> write_bar(std::span<const WrittenNote> notes, Ticks from, Ticks length,
                              const Meter& meter = {}, std::span<const Ticks> cuts = {});

}  // namespace undersong::song
