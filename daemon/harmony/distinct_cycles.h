// Cycles of chords that are really different from one another, each the best there is.
//
// A cycle takes one option for every span; its worth is the sum of the options' own worth and of every link
// between neighbours, the one from last to first among them. The first cycle found is the best of all that
// differ in at least `apart` spans from those given; the next is the best of all that differ so from these
// and from the first; and so on. Two options of the same kind count as the same: what a kind is, the caller
// says.
//
// Each is found exactly: a Lagrangian bound (the options not yet used are rewarded just so much that the
// relaxed best cycle differs enough) guides a best-first search. Source: Fisher (1981), "The Lagrangian
// relaxation method for solving integer programming problems", Management Science 27; Hart, Nilsson & Raphael
// (1968) for the search. For files and finished takes: allocates. Total: spans without options give nothing.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace undersong::harmony {

// One option a span.
struct ChordCycle {
  std::vector<std::size_t> choice;  // index into each span's options
  double worth = 0;
  friend bool operator==(const ChordCycle&, const ChordCycle&) = default;
};

struct CycleOption {
  double worth = 0;
  std::uint16_t kind = 0;
};
using Kinds = std::vector<std::uint16_t>;  // of one cycle, a kind a span

struct CycleProblem {
  std::vector<std::vector<CycleOption>> spans;
  // [span][option of it][option of the next span]; after the last span comes the first.
  std::vector<std::vector<std::vector<double>>> links;
};

struct DistinctCycles {
  std::vector<ChordCycle> cycles;    // in the order found: worth never rises
  std::vector<std::size_t> problem;  // which of the problems each is of
  bool exact = true;  // false: the search gave up proving after kMostSteps, and a cycle may have a better one
};

inline constexpr std::size_t kMostDistinct = 24;    // cycles to differ from, the given ones among them
inline constexpr std::size_t kMostSteps = 200'000;  // for one cycle

// `given`: kinds of cycles to differ from as well, each as long as there are spans. At most kMostDistinct -
// given.size().
DistinctCycles distinct_cycles(const CycleProblem& problem, std::span<const Kinds> given, std::size_t apart,
                               std::size_t count);

// The same where a cycle may be of any of several problems with equally many spans, such as one for each bass
// it could stand on: each found is the best there is in all of them.
DistinctCycles distinct_cycles(std::span<const CycleProblem> problems, std::span<const Kinds> given,
                               std::size_t apart, std::size_t count);

double cycle_worth(const CycleProblem& problem, std::span<const std::size_t> choice);

}  // namespace undersong::harmony
