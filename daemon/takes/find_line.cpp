#include "daemon/takes/find_line.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace undersong::takes {
namespace {

// Log likelihood ratios; own estimates. This score only chooses the places that find_tune looks at.
constexpr float kExact = 2.4f, kNeighbour = -0.6f, kMissed = -1.6f, kTwice = -0.3f, kPassed = -0.75f;

float closeness(double off, double width) {
  const double x = off / width;
  return static_cast<float>(-0.9 * x * x);
}

struct Follower {
  std::span<const FindNote> tune, line;
  double rate;
  int shift;
  float score = 0;
  int found = 0, passed = 0;

  // Follows from tune note `i` at line note `k` in one direction; returns the last line note reached.
  std::size_t walk(std::size_t i, std::size_t k, int step, double lead_tune, double lead_line) {
    // The seed's other end gives the first estimate of the rate.
    double anchor_tune = lead_tune, anchor_line = lead_line;
    double last_tune = tune[i].at, last_line = line[k].at;
    std::size_t last = k;
    int last_key = line[k].key;
    for (std::ptrdiff_t n = static_cast<std::ptrdiff_t>(i) + step;
         n >= 0 && n < static_cast<std::ptrdiff_t>(tune.size()); n += step) {
      const double gap = rate * (tune[n].at - last_tune);
      const double expected = last_line + gap;
      const double width = 9 + 0.10 * std::abs(gap);
      const int key = tune[n].key + shift;
      // Search among the line's notes near the expected time.
      std::ptrdiff_t best = -1;
      float value = kMissed;
      bool exact = false;
      if (key == last_key && std::abs(gap) < 25) value = kTwice;  // struck twice, or held in the take
      for (std::ptrdiff_t j = static_cast<std::ptrdiff_t>(last) + step;
           j >= 0 && j < static_cast<std::ptrdiff_t>(line.size()); j += step) {
        const double off = line[j].at - expected;
        if (off * step > 1.6 * width) break;
        if (off * step < -1.6 * width) continue;
        const int away = std::abs(line[j].key - key);
        float v = kMissed;
        if (away == 0)
          v = kExact + closeness(off, width);
        else if (away <= 2)
          v = kNeighbour + closeness(off, width);
        if (v > value) {
          value = v;
          best = j;
          exact = away == 0;
        }
      }
      score += value;
      if (best < 0) continue;
      found += exact;
      passed += static_cast<int>(std::abs(best - static_cast<std::ptrdiff_t>(last))) - 1;
      last = static_cast<std::size_t>(best);
      last_key = line[last].key;
      if (exact) {
        last_tune = tune[n].at;
        // Half of what a note is off belongs to the note, half to the tempo.
        last_line = expected + 0.5 * (line[last].at - expected);
        const double run = last_tune - anchor_tune;
        if (std::abs(run) > 50)
          rate = std::clamp(0.5 * rate + 0.5 * (line[last].at - anchor_line) / run, kSlowest, kFastest);
      }
    }
    return last;
  }
};

}  // namespace

LineSeeds::LineSeeds(std::span<const FindNote> tune) {
  tune = tune.first(std::min(tune.size(), kLongestTune));
  tune_.assign(tune.begin(), tune.end());
  std::vector<std::pair<int, Triple>> found;
  for (std::size_t i = 0; i < tune.size(); ++i)
    for (std::size_t j = i + 1; j < std::min(i + 3, tune.size()); ++j)
      for (std::size_t l = j + 1; l < std::min(j + 3, tune.size()); ++l) {
        const int a = tune[j].key - tune[i].key, b = tune[l].key - tune[j].key;
        if (std::abs(a) > kWidest || std::abs(b) > kWidest || tune[l].at - tune[i].at < 8) continue;
        found.push_back(
            {cell(a, b),
             {{static_cast<std::uint16_t>(i), static_cast<std::uint16_t>(j), static_cast<std::uint16_t>(l)},
              static_cast<float>(tune[j].at - tune[i].at),
              static_cast<float>(tune[l].at - tune[j].at)}});
      }
  std::stable_sort(found.begin(), found.end(),
                   [](const auto& x, const auto& y) { return x.first < y.first; });
  begin_.assign(kSide * kSide + 1, 0);
  for (const auto& [at, triple] : found) {
    ++begin_[static_cast<std::size_t>(at) + 1];
    triples_.push_back(triple);
  }
  for (std::size_t i = 1; i < begin_.size(); ++i)
    begin_[i] = static_cast<std::uint16_t>(begin_[i] + begin_[i - 1]);
}

// One of the two notes before, or of the two after, is where it is expected. Most seeds are found by chance,
// and this ends nine of ten at little cost.
bool LineSeeds::goes_on(std::span<const FindNote> line, const LineSeed& seed, float rate) const {
  const int shift = line[seed.line[0]].key - tune_[seed.tune[0]].key;
  for (const int step : {1, -1}) {
    const auto last_tune = static_cast<std::ptrdiff_t>(step > 0 ? seed.tune[2] : seed.tune[0]);
    const auto last_line = static_cast<std::ptrdiff_t>(step > 0 ? seed.line[2] : seed.line[0]);
    for (std::ptrdiff_t n = 1; n <= 2; ++n) {
      const std::ptrdiff_t i = last_tune + step * n;
      if (i < 0 || i >= static_cast<std::ptrdiff_t>(tune_.size())) break;
      const int key = tune_[i].key + shift;
      const float gap = rate * static_cast<float>(tune_[i].at - tune_[last_tune].at);
      const float expected = static_cast<float>(line[last_line].at) + gap;
      const float reach = 10 + 0.15f * std::abs(gap);
      for (std::ptrdiff_t j = last_line + step;
           j >= 0 && j < static_cast<std::ptrdiff_t>(line.size()) && j != last_line + step * 5; j += step) {
        const float off = static_cast<float>(line[j].at) - expected;
        if (off * static_cast<float>(step) > reach) break;
        if (line[j].key == key && std::abs(off) <= reach) return true;
      }
    }
  }
  return false;
}

LineMatch follow(std::span<const FindNote> tune, std::span<const FindNote> line, const LineSeed& seed) {
  tune = tune.first(std::min(tune.size(), kLongestTune));
  const auto& [first, middle, last] = seed.tune;
  const double rate =
      static_cast<double>(line[seed.line[2]].at - line[seed.line[0]].at) / (tune[last].at - tune[first].at);
  Follower f{tune, line, rate, line[seed.line[0]].key - tune[first].key};
  // The middle, and what lies between, was compared by the seed.
  f.score = 3 * kExact;
  f.found = 3;
  f.score +=
      closeness(line[seed.line[1]].at - line[seed.line[0]].at - rate * (tune[middle].at - tune[first].at), 9);
  f.score += kMissed * static_cast<float>(last - first - 2);
  f.passed = static_cast<int>(seed.line[2] - seed.line[0]) - 2;
  const std::size_t end = f.walk(last, seed.line[2], 1, tune[first].at, line[seed.line[0]].at);
  f.rate = rate;
  const std::size_t begin = f.walk(first, seed.line[0], -1, tune[last].at, line[seed.line[2]].at);
  LineMatch out;
  out.score = f.score + kPassed * static_cast<float>(f.passed);
  out.found = f.found;
  out.from = line[begin].at;
  out.to = line[end].at;
  out.mapping = {f.shift, rate, tune[first].at, line[seed.line[0]].at};
  return out;
}

}  // namespace undersong::takes
