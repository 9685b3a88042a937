// Finds cycles of chords that really differ from one another, each the best possible.
//
//   const DistinctCycles found = distinct_cycles(problem, {}, 2, 5);   // any two differ in 2 spans
//
// A cycle takes one option for every span. Its worth is the sum of the options' worth and of all links
// between neighbours, including the link from last to first. The first cycle found is the best of all that
// differ in at least `apart` spans from those given; the next is the best of all that also differ from the
// first; and so on. Two options of the same kind count as equal; the caller defines the kinds.
//
// Each cycle is found exactly: a Lagrangian bound (unused options are rewarded just enough for the relaxed
// best cycle to differ enough) guides a best-first search.
//
// Units: worth in the caller's unit.
// Threads: any; pure functions. They allocate, so they are for files and finished takes.
// Errors: none. A span without options gives no cycles. REQUIRES: links of the sizes stated in CycleProblem.
// Source: Fisher (1981), "The Lagrangian relaxation method for solving integer programming problems",
// Management Science 27; Hart, Nilsson & Raphael (1968) for the search.
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
using Kinds = std::vector<std::uint16_t>;  // one kind for each span of a cycle

struct CycleProblem {
  std::vector<std::vector<CycleOption>> spans;
  // [span][its option][option of the next span]; the first span follows the last.
  std::vector<std::vector<std::vector<double>>> links;
};

struct DistinctCycles {
  std::vector<ChordCycle> cycles;    // in the order found: worth never rises
  std::vector<std::size_t> problem;  // which of the problems each is of
  bool exact = true;  // false: the search gave up proving after kMostSteps, and a cycle may have a better one
};

inline constexpr std::size_t kMostDistinct = 24;    // cycles to differ from, including the given ones
inline constexpr std::size_t kMostSteps = 200'000;  // steps of the search for one cycle

// `given`: the kinds of cycles that the result must also differ from, one kind for each span. At most
// kMostDistinct - given.size() cycles are found.
DistinctCycles distinct_cycles(const CycleProblem& problem, std::span<const Kinds> given, std::size_t apart,
                               std::size_t count);

// The same for several problems with equally many spans, such as one for each bass: each cycle found is the
// best in all of them.
DistinctCycles distinct_cycles(std::span<const CycleProblem> problems, std::span<const Kinds> given,
                               std::size_t apart, std::size_t count);

// The worth of one cycle; `choice` has one option index for each span.
double cycle_worth(const CycleProblem& problem, std::span<const std::size_t> choice);

}  // namespace undersong::harmony
