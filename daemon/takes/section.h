// Sections: which times round a loop belong together, by what the right hand does over them.
//
// Passes whose melodies agree note for note (place in the cycle and pitch) are one section, whenever they
// come; those that never agree with another are grouped with their neighbours by how many notes they have and
// how high they lie.
//
// Threads: pure. Total. Source: common practice, no source; thresholds are ours.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/takes/loop.h"

namespace undersong::takes {

enum class SectionKind : std::uint8_t { kTheme, kDeveloped, kSparse, kSolo, kAccompaniment };
std::string_view text(SectionKind kind);  // "theme", "developed melody", "sparse", "solo", "no melody"

struct Section {
  std::string label;  // A, B ...; A' is an altered A; the same label comes again when its melody does
  SectionKind kind = SectionKind::kTheme;
  std::size_t first = 0, count = 0;  // passes, one after another
  double notes_per_beat = 0;         // of the melody; per second where there is no pulse
  double agreement = 0;              // 0..1, with the other passes of the same label
  std::string reason;                // one plain sentence
};

struct Sections {
  std::vector<Section> sections;     // by beginning; they cover all passes
  std::vector<std::size_t> of_pass;  // index into sections for each pass
};

Sections find_sections(const HeardTake& take, const Loop& loop);

}  // namespace undersong::takes
