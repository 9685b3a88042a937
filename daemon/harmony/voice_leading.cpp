#include "daemon/harmony/voice_leading.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>

namespace undersong::harmony {
namespace {

// Cheapest path from both first tones to both last ones that moves on in one chord or in both at a step: with
// tones in order no minimal assignment has to cross, so the path is the minimal voice leading.
template <class Way>
class Path {
 public:
  Path(std::size_t from, std::size_t to, Way way) : rows_(from), columns_(to) {
    for (std::size_t i = 0; i < rows_; ++i)
      for (std::size_t j = 0; j < columns_; ++j) {
        int before = i == 0 && j == 0 ? 0 : std::numeric_limits<int>::max() / 2;
        if (i > 0) before = std::min(before, cost_[i - 1][j]);
        if (j > 0) before = std::min(before, cost_[i][j - 1]);
        if (i > 0 && j > 0) before = std::min(before, cost_[i - 1][j - 1]);
        cost_[i][j] = before + way(i, j);
      }
  }
  int cost() const { return cost_[rows_ - 1][columns_ - 1]; }
  // Calls `each` for the pairs of the path, last pair first. Of equally cheap steps it prefers the one in
  // both chords.
  template <class Each>
  void walk_back(Each each) const {
    std::size_t i = rows_ - 1, j = columns_ - 1;
    each(i, j);
    while (i > 0 || j > 0) {
      const int both = i > 0 && j > 0 ? cost_[i - 1][j - 1] : std::numeric_limits<int>::max();
      const int up = i > 0 ? cost_[i - 1][j] : std::numeric_limits<int>::max();
      const int left = j > 0 ? cost_[i][j - 1] : std::numeric_limits<int>::max();
      if (both <= up && both <= left) {
        --i, --j;
      } else if (up <= left) {
        --i;
      } else {
        --j;
      }
      each(i, j);
    }
  }

 private:
  std::size_t rows_, columns_;
  std::array<std::array<int, kMostVoices + 1>, kMostVoices + 1> cost_;
};

using Tones = FixedVector<PitchClass, kMostVoices>;

// A circle has no first tone, so each tone of the second chord is tried as the first. The first pair is met
// again at the end; its distance counts once.
VoiceLeading turn(const Tones& from, const Tones& to, std::size_t start) {
  const auto at = [&](std::size_t j) { return to[(start + j) % to.size()]; };
  const auto way = [&](std::size_t i, std::size_t j) {
    return i == from.size() && j == to.size() ? 0 : pitch_class_distance(from[i % from.size()], at(j));
  };
  const Path path(from.size() + 1, to.size() + 1, way);
  VoiceLeading out;
  out.semitones = path.cost();
  path.walk_back([&](std::size_t i, std::size_t j) {
    if (i != from.size() || j != to.size()) out.voices.push_back({from[i % from.size()], at(j)});
  });
  std::reverse(out.voices.begin(), out.voices.end());
  return out;
}

Tones sorted(std::span<const PitchClass> tones) {
  Tones out;
  for (PitchClass tone : tones) out.push_back(tone);
  std::sort(out.begin(), out.end());
  return out;
}

VoiceLeading freely(const Tones& from, const Tones& to) {
  VoiceLeading best = turn(from, to, 0);
  for (std::size_t start = 1; start < to.size(); ++start) {
    VoiceLeading other = turn(from, to, start);
    if (other.semitones < best.semitones) best = other;
  }
  return best;
}

}  // namespace

int voice_leading_distance(std::span<const Pitch> from, std::span<const Pitch> to) {
  FixedVector<Pitch, kMostVoices> a, b;
  for (Pitch note : from) a.push_back(note);
  for (Pitch note : to) b.push_back(note);
  if (a.empty() || b.empty()) return 0;
  std::sort(a.begin(), a.end());
  std::sort(b.begin(), b.end());
  return Path(a.size(), b.size(),
              [&](std::size_t i, std::size_t j) { return std::abs(a[i].value() - b[j].value()); })
      .cost();
}

VoiceLeading minimal_voice_leading(std::span<const PitchClass> from, std::span<const PitchClass> to,
                                   bool keep_bass) {
  if (from.empty() || to.empty()) return {};
  if (!keep_bass) return freely(sorted(from), sorted(to));
  // The basses are paired already. The other voices may, but need not, pair with them again.
  VoiceLeading best;
  best.semitones = std::numeric_limits<int>::max();
  for (std::size_t leave_from : {0u, 1u})
    for (std::size_t leave_to : {0u, 1u}) {
      const Tones a = sorted(from.subspan(leave_from)), b = sorted(to.subspan(leave_to));
      VoiceLeading upper;
      if (!a.empty() && !b.empty()) {
        upper = freely(a, b);
      } else if (a.size() != b.size()) {
        continue;  // the upper voices of one side would have no partner
      }
      if (upper.semitones < best.semitones) best = upper;
    }
  best.semitones += pitch_class_distance(from[0], to[0]);
  best.voices.insert(0, {from[0], to[0]});
  return best;
}

}  // namespace undersong::harmony
