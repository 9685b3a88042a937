// The melody over each chord of a loop, combined from all passes that are considered.
//
// A note counts for as long as it sounds: until its key is released or the next melody note begins. A note
// held over a change of chords counts for both chords. The melody over a replacement chord is ignored, unless
// that place always had another chord. Transposed passes are moved back. A pitch class is long over a chord
// if it sounds for about a beat (half a second without a pulse) in at least a third of the passes; the pitch
// class that sounds most is always long.
//
// Units: lengths in beats of the loop, or in seconds if there is no pulse.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/pitch_class_set.h"
#include "daemon/harmony/transition.h"
#include "daemon/takes/section.h"

namespace undersong::song {

struct SungSpan {
  std::array<double, 12> length{};  // by pitch class, average per pass
  harmony::PitchClassSet long_notes;
  std::optional<Pitch> top;  // the note that sounds most; empty if there is no melody here
  harmony::Phrase phrase;    // the same as input for the learnt table
};

struct Sung {
  std::string section;          // label of the section; empty: all passes
  std::size_t passes = 0;       // number of passes considered
  std::vector<SungSpan> spans;  // one for each chord of the loop
  bool silent() const;          // true if there is no melody at all
};

// The melody over the passes of all sections with this label. An empty label means all passes.
Sung sung(const takes::HeardTake& take, const takes::Loop& loop, const takes::Sections& sections,
          std::string_view label);

// The label with the most passes that have a melody; empty if there is none.
std::string usual_section(const takes::Sections& sections);

}  // namespace undersong::song
