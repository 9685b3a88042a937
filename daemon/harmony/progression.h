// Whole cycles of chords: the best ways through the options of each span of a loop, closed so that the last
// chord leads back to the first.
//
//   const auto cycles = best_cycles(spans, link, 100);
//   const auto shown = different_cycles(cycles, spans, 2, 5);
//
// A cycle's worth is the sum of its chords' worth and of all links between neighbours, including the link
// from last to first. best_cycles finds the best ones exactly (dynamic programming that keeps the k best of
// every end); different_cycles then keeps only cycles that differ from each other.
//
// Units: worth in the caller's unit.
// Threads: any; pure functions. They allocate, so they are for files and finished takes. `link` runs on the
// calling thread.
// Errors: none; a span without options gives no cycles.
// Source: dynamic programming, Bellman (1957); the k best in any textbook.
#pragma once

#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/chord.h"

namespace undersong::harmony {

struct Option {
  Chord chord;
  double worth = 0;  // worth of this chord in this span: fit to the melody, wishes
};
struct Span {
  std::vector<Option> options;        // at least one option
  std::optional<std::size_t> pinned;  // index of the only option allowed
};

struct Cycle {
  std::vector<std::size_t> choice;  // one option index for each span
  double worth = 0;
  friend bool operator==(const Cycle&, const Cycle&) = default;
};

// The worth of going from one chord to the next. Called on the calling thread, once for each pair.
using Link = std::function<double(const Chord& from, const Chord& to)>;

// The `count` best cycles, best first; fewer if there are fewer. Empty if a span has no option or a pin is
// not a valid index. Of equally good cycles, the one with the earlier options comes first.
std::vector<Cycle> best_cycles(std::span<const Span> spans, const Link& link, std::size_t count);

// At most `count` of `cycles`, any two of which differ in the root or quality of at least `apart` spans.
// REQUIRES: cycles ordered best first; the best is always kept.
std::vector<Cycle> different_cycles(std::span<const Cycle> cycles, std::span<const Span> spans,
                                    std::size_t apart, std::size_t count);

}  // namespace undersong::harmony
