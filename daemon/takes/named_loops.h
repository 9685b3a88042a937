// All loops that can be read from the names of a take's chords, and how they join those that a study has
// found. A study knows beats, and what in a pass is only a variant; but it keeps a loop only if that is more
// probable than chance, so what somebody circled for two minutes of forty may be missing.
//
// Units: indices into the chords; Micros from the beginning of the take.
// Threads: pure; any thread.
// Errors: none.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "daemon/takes/take_about.h"
#include "daemon/takes/take_content.h"

namespace undersong::takes {

inline constexpr std::size_t kMostNamedLoops = 6;
inline constexpr std::size_t kMostNamedChords = 6000;  // of a take that are looked at

// What was gone round, the one with most chords first. Of two that share most of their chords only the first.
// `chords`: the same number for the same root and family.
std::vector<ContentFound> named_loops(std::span<const std::uint16_t> chords);
// The loops, and those passes of `others` that lie outside of them, where there are three or more.
std::vector<AboutLoop> with_others(std::vector<AboutLoop> loops, const std::vector<AboutLoop>& others);

}  // namespace undersong::takes
