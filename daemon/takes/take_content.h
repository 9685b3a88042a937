// take_content says by which chords a take can be recognised while nobody has named it: those that were gone
// round, and how often. It reads only the chords in order, so that a list of takes has it at once; the loop
// with its beats is found by loop.h.
//
//   const ContentFound found = take_content(chords);   // 0, 4, 10: the first four chords, ten times
//
// Chords are the same here if they agree in root and family: a ninth that comes and goes ends no loop.
//
// Units: indices into the chords; Micros.
// Threads: pure; any thread.
// Errors: none.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/takes/log_line.h"

namespace undersong::takes {

// An earlier take with the same loop.
struct LoopAgain {
  TakeId take = 0;
  std::int64_t begin_utc_ms = 0;
  int shift = 0;  // semitones from that take to this one, -5..6
  friend bool operator==(const LoopAgain&, const LoopAgain&) = default;
};

struct TakeContent {
  std::vector<std::string> chords;  // in Harte form
  int times = 1;
  std::optional<double> tempo{};  // beats a minute; empty without a pulse, and until the take was studied
  Micros circled{};               // how long loops were gone round
  std::uint32_t returns = 0;      // pairs of a melody note and a chord that the player came back to
  std::optional<LoopAgain> again{};
  friend bool operator==(const TakeContent&, const TakeContent&) = default;
};

inline constexpr std::size_t kLongestRound = 8;     // chords of a loop that is looked for
inline constexpr std::size_t kFirstChords = 4;      // that stand for a take without one
inline constexpr std::size_t kContentChords = 600;  // of a take that are looked at

struct ContentFound {
  std::size_t begin = 0, length = 0;
  int times = 1;
  std::vector<std::size_t> rounds{};  // where each of the times begins; empty if nothing is gone round
};
// `chords`: the same number for the same root and family.
ContentFound take_content(std::span<const std::uint16_t> chords);

}  // namespace undersong::takes
