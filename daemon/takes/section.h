// Sections: which passes of a loop belong together, judged by the melody over them.
//
// Passes whose melodies agree note for note (position in the cycle and pitch) form one section, wherever they
// occur. Passes that agree with no other are grouped with their neighbours if they have about as many notes.
//
// Units: passes count from 0; densities are melody notes per beat, or per second if there is no pulse.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source; the thresholds are our own.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/takes/loop.h"

namespace undersong::takes {

enum class SectionKind : std::uint8_t { kTheme, kDeveloped, kSparse, kSolo, kAccompaniment };
std::string_view text(SectionKind kind);  // "theme", "developed melody", "sparse", "solo", "no melody"

struct Section {
  std::string label;  // A, B ...; A' is a variation of A. A label returns when its melody does.
  SectionKind kind = SectionKind::kTheme;
  std::size_t first = 0, count = 0;  // consecutive passes
  double notes_per_beat = 0;         // of the melody; per second if there is no pulse
  double agreement = 0;              // 0..1, with the other passes of the same label
  std::string reason;                // one sentence for people
};

struct Sections {
  std::vector<Section> sections;     // ordered by beginning; together they cover all passes
  std::vector<std::size_t> of_pass;  // for each pass, an index into `sections`
};

// `letters`: how many letters other loops of the take already use.
Sections find_sections(const HeardTake& take, const Loop& loop, std::size_t letters = 0);

// The number of letters that these sections use; A and A' are one.
std::size_t letters_of(const Sections& sections);

}  // namespace undersong::takes
