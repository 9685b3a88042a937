// find_tune says how well a tune lies at one place of a take, looking at all of its notes: those that the ear
// heard as melody count most, then the highest, then the others.
//
// Units: FindTime.
// Threads: pure; any thread.
// Errors: none.
// Source: as find_line.h. The weights are a conditional logit over tunes made from the takes of POP909 (Wang
// et al., ISMIR 2020) that are kept for learning.
#pragma once

#include <span>
#include <vector>

#include "daemon/takes/find_line.h"

namespace undersong::takes {

enum class Role : std::uint8_t { kInner, kTop, kMelody };
struct RoledNote {
  FindTime at = 0;
  std::uint8_t key = 0;
  Role role = Role::kInner;
};
// `print` with all its parts.
std::vector<RoledNote> roled(const FindPrint& print);

struct TuneFit {
  float score = 0;
  FindTime from = 0, to = 0;
};
TuneFit fit_tune(std::span<const FindNote> tune, std::span<const RoledNote> notes,
                 const FindMapping& mapping);

}  // namespace undersong::takes
