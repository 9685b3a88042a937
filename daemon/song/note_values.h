// What the writers of bars share (notation.h): the note values, the pieces of a voice in a bar, and beams.
//
// Units: Ticks from the beginning of the part; the length of a note value on paper, 480 a quarter note.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <functional>
#include <string_view>
#include <vector>

#include "daemon/song/notation.h"

namespace undersong::song {

struct NoteValue {
  std::int64_t length;
  std::string_view type;
  int dots;
};
// Longest first.
const std::vector<NoteValue>& note_values();
const NoteValue* note_value(std::int64_t length);  // null if no note has this length

// A note or rest in a bar, before it is divided into note values. `note`: null for a rest.
struct BarSpan {
  Ticks begin, end;
  const WrittenNote* note;
};

// Joins neighbours of one group under beams. `group`: tells groups apart by their number.
void mark_beams(std::vector<Symbol>& symbols, const std::function<std::int64_t(Ticks)>& group);

// A bar whose beats are dotted quarters or eighths.
std::vector<Symbol> write_grouped_bar(const std::vector<BarSpan>& spans, Ticks from, Ticks length,
                                      const Meter& meter);

}  // namespace undersong::song
