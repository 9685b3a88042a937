// A chord cycle and how a take goes round in it: candidates, the best alignment, and what a cycle is worth.
//
// Used by loop.h, which is what other code needs.
//
// Units: lengths in seconds; places of a cycle count from 0.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: minimum description length, Rissanen (1978); alignment, Needleman & Wunsch (1970). The weights are
// our own.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "daemon/takes/segments.h"

namespace undersong::takes {

struct Cycle {
  std::vector<int> roots;
  std::vector<harmony::Family> families;
  std::vector<double> lengths;
  std::vector<Profile> profiles;
  std::size_t size() const { return roots.size(); }
  void rotate(std::size_t by);
  void shorten(std::size_t to);
  void erase(std::size_t place);
};

enum class AlignStep : std::uint8_t { kOutside, kFits, kOther, kMore };
struct Aligned {
  double score = 0;
  struct At {
    AlignStep step = AlignStep::kOutside;
    int cycle = 0;
    int place = 0;
    int transposed = 0;
    bool enters = false;  // the segment before was outside, in another cycle or in another transposition
    bool round = false;   // a new pass begins here
    float value = 0;      // how well it fits, at most 1
  };
  std::vector<At> spans;  // one for each segment
};

// Finds the best way through one or more cycles, or outside them. `usable`: the segments that may lie in a
// cycle; empty: all.
Aligned align(const std::vector<Segment>& take, const std::vector<Cycle>& cycles, bool transpositions,
              const std::vector<bool>& usable = {});

// The place with which the player begins: counted from it, most passes are whole.
std::size_t first_place(const std::vector<Segment>& take, const std::vector<Cycle>& cycles,
                        std::size_t which);

// What the cycles explain, minus the cost of describing them. A replacement that occurs repeatedly in one
// place is described once.
double worth(const std::vector<Segment>& take, const std::vector<Cycle>& cycles, const Aligned& aligned);

// Runs of chords that occur at least twice among the segments marked as usable, the most promising first.
std::vector<Cycle> candidates(const std::vector<Segment>& take, const std::vector<bool>& usable,
                              std::size_t most);

// Sets each place to the chord that most passes play there, to its median length and to what sounds there.
// Places that most passes leave out are removed.
void settle(std::vector<Cycle>& cycles, const std::vector<Segment>& take, const Aligned& aligned);

// A cycle abcd abcd abcd abce is really abcd with another ending now and then. Blocks of three or more chords
// that differ in at most one place, and there in at most half of the blocks, count as one block. Returns its
// length.
std::optional<std::size_t> block(const Cycle& cycle);

}  // namespace undersong::takes
