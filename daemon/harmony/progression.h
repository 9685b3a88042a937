// Whole cycles of chords: the best ways through what could stand under each span of a loop, closed so that
// the last chord leads back to the first.
//
// A cycle's worth is the sum of its chords' own worth and of every link between neighbours, the one from last
// to first among them. The best cycles are found exactly (dynamic programming that keeps the k best of every
// end), then thinned so that those kept differ from each other. For files and finished takes: allocates.
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
  double worth = 0;  // of this chord in this span: fit to the melody, wishes
};
struct Span {
  std::vector<Option> options;        // at least one
  std::optional<std::size_t> pinned;  // index of the option to keep
};

struct Cycle {
  std::vector<std::size_t> choice;  // index into each span's options
  double worth = 0;
  friend bool operator==(const Cycle&, const Cycle&) = default;
};

// What it is worth to go from one chord to the next.
using Link = std::function<double(const Chord& from, const Chord& to)>;

// The `count` best cycles, best first; fewer if there are fewer. Empty when a span has no option or a pin
// points past its end. Equal worth: the earlier options first.
std::vector<Cycle> best_cycles(std::span<const Span> spans, const Link& link, std::size_t count);

// Of cycles ordered best first, at most `count` of which each two differ in the root or quality of at least
// `apart` spans; the best comes first.
std::vector<Cycle> different_cycles(std::span<const Cycle> cycles, std::span<const Span> spans,
                                    std::size_t apart, std::size_t count);

}  // namespace undersong::harmony
