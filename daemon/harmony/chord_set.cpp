#include "daemon/harmony/chord_set.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "daemon/harmony/key.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

struct SetCount {
  std::uint16_t bits;  // the transposition with the smallest bits
  std::uint32_t count;
};
#include "daemon/harmony/chord_counts.inc"

PitchClassSet prime(PitchClassSet set) {
  PitchClassSet best = set;
  for (int r = 1; r < 12; ++r)
    if (set.relative_to(PitchClass(r)).bits() < best.bits()) best = set.relative_to(PitchClass(r));
  return best;
}

float unfamiliarity_of(PitchClassSet set) {
  constexpr double kSets = 351;
  double total = 0, own = 0;
  for (const SetCount& known : kSetCounts) {
    total += known.count;
    if (known.bits == set.bits()) own = known.count;
  }
  return static_cast<float>(-std::log((own + 1) / (total + kSets)));
}

bool holds(PitchClassSet set, int root, int third) {
  return set.contains(PitchClass(root)) && set.contains(PitchClass(root + third)) &&
         set.contains(PitchClass(root + 7));
}

ChordSet describe(PitchClassSet set) {
  constexpr double kSharpness = 8;
  ChordSet out;
  out.unfamiliarity = unfamiliarity_of(set);
  std::array<double, 12> weights{};
  for (int i = 0; i < 12; ++i) weights[static_cast<std::size_t>(i)] = set.contains(PitchClass(i)) ? 1 : 0;
  double major = 0, minor = 0;
  int major_triads = 0, minor_triads = 0, outside = 12;
  for (int r = 0; r < 12; ++r) {
    major += std::exp(kSharpness * profile_correlation(weights, {PitchClass(r), Mode::kMajor}));
    minor += std::exp(kSharpness * profile_correlation(weights, {PitchClass(r), Mode::kMinor}));
    major_triads += holds(set, r, 4);
    minor_triads += holds(set, r, 3);
    outside = std::min(outside, (set - PitchClassSet(kMajorScale).transposed(r)).size());
    out.fifth = out.fifth || (set.contains(PitchClass(r)) && set.contains(PitchClass(r + 7)));
  }
  out.key_fit = static_cast<float>(std::log(major / minor));
  if (major_triads + minor_triads > 0)
    out.triads =
        static_cast<float>(major_triads - minor_triads) / static_cast<float>(major_triads + minor_triads);
  out.outside = static_cast<std::uint8_t>(outside);
  return out;
}

}  // namespace

const ChordSet& chord_set(PitchClassSet tones) {
  static const std::vector<ChordSet> kTable = [] {
    std::vector<ChordSet> out(4096);
    for (unsigned bits = 1; bits < out.size(); ++bits) {
      // Its bits are no larger, so it has its row already.
      const PitchClassSet first = prime(PitchClassSet(bits));
      out[bits] = first.bits() == bits ? describe(first) : out[first.bits()];
    }
    return out;
  }();
  return kTable[tones.bits()];
}

}  // namespace undersong::harmony
