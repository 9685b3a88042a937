// take_content says by which chords a take can be recognised while nobody has named it: those that were gone
// round, and how often. It reads only the chords in order, so that a list of takes has it at once; the loop
// with its beats is found by loop.h.
//
//   const ContentFound found = take_content(chords);   // {0, 4, 10}: the first four chords, ten times
//
// Chords are the same here if they agree in root and family: a ninth that comes and goes ends no loop.
//
// Units: indices into the chords.
// Threads: pure; any thread.
// Errors: none.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace undersong::takes {

struct TakeContent {
  std::vector<std::string> chords;  // in Harte form
  int times = 1;
};

inline constexpr std::size_t kLongestRound = 8;     // chords of a loop that is looked for
inline constexpr std::size_t kFirstChords = 4;      // that stand for a take without one
inline constexpr std::size_t kContentChords = 600;  // of a take that are looked at

struct ContentFound {
  std::size_t begin = 0, length = 0;
  int times = 1;
};
// `chords`: the same number for the same root and family.
ContentFound take_content(std::span<const std::uint16_t> chords);

}  // namespace undersong::takes
