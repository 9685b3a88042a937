// find_line compares two single lines of notes: where in a take's melody (or highest line) does a tune lie,
// in any key, register and tempo?
//
//   const LineSeeds seeds(tune);
//   seeds.scan(line, [&](const LineSeed& seed) { best = std::max(best, follow(tune, line, seed).score); });
//
// A seed is three notes of the tune and three of the line with the same two intervals and nearly the same
// proportion of their two durations; up to two notes between them may be missing on either side. From a seed
// the rest of the tune is followed in both directions: each note is expected where the tempo so far puts it,
// and is found, found as a neighbour key, or missed.
//
// Units: FindTime. A score is a sum of log likelihood ratios, found in the take against found by chance.
// Threads: pure; any thread.
// Errors: none; an empty tune has no seeds.
// Source: alignment by intervals and durations after Mongeau and Sankoff, Comparison of musical sequences
// (Computers and the Humanities 24, 1990); seeds by pitch differences and proportions of durations after
// Arzt, Boeck and Widmer, Fast identification of piece and score position via symbolic fingerprinting (ISMIR
// 2012).
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

#include "daemon/takes/find_print.h"

namespace undersong::takes {

inline constexpr double kSlowest = 0.45, kFastest = 2.25;  // tempo of the take against that of the tune
inline constexpr std::size_t kLongestTune = 64;            // notes of a tune that are compared

// Where the tune would lie in the take: its note at `tune_at` falls at `take_at`, `shift` keys higher, and
// its durations are multiplied by `rate`.
struct FindMapping {
  int shift = 0;
  double rate = 1;
  FindTime tune_at = 0, take_at = 0;
};

struct LineSeed {
  std::uint16_t tune[3];  // indices into the tune
  std::uint32_t line[3];  // and into the line
};

struct LineMatch {
  float score = 0;
  int found = 0;
  FindTime from = 0, to = 0;
  FindMapping mapping;
};

class LineSeeds {
 public:
  explicit LineSeeds(std::span<const FindNote> tune);
  // Calls use(LineSeed) for every seed that a fourth note confirms. `skipping`: also where the line has a
  // note between that the tune lacks.
  template <class Use>
  void scan(std::span<const FindNote> line, bool skipping, Use use) const;

 private:
  static constexpr int kWidest = 24, kSide = 2 * kWidest + 1;
  struct Triple {
    std::uint16_t note[3];
    float first, second;  // durations
  };
  bool goes_on(std::span<const FindNote> line, const LineSeed& seed, float rate) const;
  static int cell(int a, int b) { return (a + kWidest) * kSide + b + kWidest; }
  std::vector<std::uint16_t> begin_;  // by cell, into triples_
  std::vector<Triple> triples_;
  std::vector<FindNote> tune_;
};

// REQUIRES: a seed that `scan` found between these two.
LineMatch follow(std::span<const FindNote> tune, std::span<const FindNote> line, const LineSeed& seed);

template <class Use>
void LineSeeds::scan(std::span<const FindNote> line, bool skipping, Use use) const {
  static constexpr std::array<std::array<std::uint32_t, 2>, 3> kSteps{{{1, 2}, {1, 3}, {2, 3}}};
  if (triples_.empty()) return;
  for (std::uint32_t k = 0; k + 2 < line.size(); ++k)
    for (std::size_t way = 0; way < (skipping ? kSteps.size() : 1); ++way) {
      const auto [one, two] = kSteps[way];
      if (k + two >= line.size()) continue;
      const int a = line[k + one].key - line[k].key, b = line[k + two].key - line[k + one].key;
      if (a < -kWidest || a > kWidest || b < -kWidest || b > kWidest) continue;
      const int at = cell(a, b);
      for (std::uint16_t n = begin_[at]; n < begin_[at + 1]; ++n) {
        const Triple& t = triples_[n];
        const auto first = static_cast<float>(line[k + one].at - line[k].at),
                   second = static_cast<float>(line[k + two].at - line[k + one].at);
        const float rate = (first + second) / (t.first + t.second);
        if (rate < kSlowest || rate > kFastest) continue;
        // The unevenness of three notes, and of the ear's times.
        const float off = std::abs(first - rate * t.first);
        if (off > 7 + 0.12f * (first + second) / 2 + 4 * rate) continue;
        const LineSeed seed{{t.note[0], t.note[1], t.note[2]}, {k, k + one, k + two}};
        if (goes_on(line, seed, rate)) use(seed);
      }
    }
}

}  // namespace undersong::takes
