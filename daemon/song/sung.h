// The melody over each chord of a loop, as it was sung there over all the times round that are looked at.
//
// A note counts where it sounds: until its key goes up or the next melody note begins, and over a change of
// chords in both. What was played over another chord in that place is left out, unless there always was
// another; what was transposed is moved back. A pitch class is long over a chord when in at least a third of
// the times it sounds there for a beat (half a second without a pulse), and so is the one that sounds most.
// Lengths: beats of the loop, seconds where there is no pulse. Threads: pure. Total. Source: common practice,
// no source.
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
  std::array<double, 12> length{};  // by pitch class, a time round on average
  harmony::PitchClassSet long_notes;
  std::optional<Pitch> top;  // the key that sounds most; nothing where nothing is sung
  harmony::Phrase phrase;    // the same for the learnt table
};

struct Sung {
  std::string section;          // label; empty where all was taken
  std::size_t passes = 0;       // that were looked at
  std::vector<SungSpan> spans;  // one for each chord of the loop
  bool silent() const;          // no melody at all
};

// The melody over the passes of the sections with this label; of all passes with an empty one.
Sung sung(const takes::HeardTake& take, const takes::Loop& loop, const takes::Sections& sections,
          std::string_view label);

// The label with the most passes that have a melody; empty if there is none.
std::string usual_section(const takes::Sections& sections);

}  // namespace undersong::song
