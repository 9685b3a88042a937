#include "daemon/takes/loop_evidence.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <random>

#include "daemon/takes/cycle.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kOrders = 8, kShuffled = 240, kShuffledCandidates = 30;
constexpr double kLongestHeld = 20;  // seconds; a chord that only goes on for longer is no playing
constexpr double kKnown = .7;        // a replacement that comes back, against 1 for the chord itself

// Learnt by daemon/harmony/learning/train_loop.py: constant, then one weight for each term of terms().
constexpr std::array<double, 9> kWeights{-15.492, 2.894, -.632, 1.081, 3.472, 1.737, 1.928, .935, 2.166};
// The same for a vamp.
constexpr std::array<double, 4> kVampWeights{-8.077, 7.937, 1.829, .328};

double logistic(double x) {
  return 1 / (1 + std::exp(-x));
}

std::array<double, 8> terms(const LoopEvidence& e) {
  return {e.coverage,      std::log(1 + e.rounds), std::log(1 + std::max(0., e.in_a_row)), e.fit, e.regular,
          e.beyond_chance, std::log(1 + e.places), std::clamp(e.in_a_row, 0., 3.)};
}

}  // namespace

LoopEvidence evidence_of(const std::vector<Segment>& take, const std::vector<Cycle>& cycles,
                         const Aligned& aligned, std::size_t which, double chance) {
  LoopEvidence out;
  const Cycle& cycle = cycles[which];
  out.places = static_cast<double>(cycle.size());
  // A replacement that comes back in its place belongs to the loop, too.
  std::map<std::pair<int, int>, int> others;
  const auto replaced = [&](std::size_t i) {
    const auto& at = aligned.spans[i];
    return std::pair(at.place, (take[i].root - at.transposed + 12) % 12);
  };
  for (std::size_t i = 0; i < take.size(); ++i)
    if (aligned.spans[i].step == AlignStep::kOther && aligned.spans[i].cycle == static_cast<int>(which))
      ++others[replaced(i)];
  double inside = 0, all = 0, fits = 0, value = 0, count = 0, regular = 0, own = 0, row = 0;
  for (std::size_t i = 0; i < take.size(); ++i) {
    const auto& at = aligned.spans[i];
    const bool in = at.step != AlignStep::kOutside && at.cycle == static_cast<int>(which);
    all += in ? take[i].length() : std::min(kLongestHeld, take[i].length());
    if (at.step == AlignStep::kOutside || at.cycle != static_cast<int>(which)) {
      row = 0;
      continue;
    }
    ++count;
    inside += take[i].length();
    const bool fit = at.step == AlignStep::kFits;
    fits += fit;
    const bool known = at.step == AlignStep::kOther && others[replaced(i)] >= 2;
    value += at.step == AlignStep::kMore ? 0. : known ? kKnown : static_cast<double>(at.value);
    const double missed = std::abs(
        std::log(std::max(.05, take[i].length()) / cycle.lengths[static_cast<std::size_t>(at.place)]));
    regular += std::max(0., 1 - 2 * missed);
    own += fit ? static_cast<double>(std::max(0.f, at.value)) : known ? kKnown : -.5;
    row = at.enters ? static_cast<double>(fit) : row + (fit || known ? 1 : -.5);
    out.in_a_row = std::max(out.in_a_row, row / out.places);
  }
  if (count == 0 || all <= 0) return out;
  out.coverage = inside / all;
  out.rounds = fits / out.places;
  out.fit = value / count;
  out.regular = regular / count;
  out.beyond_chance = (own - out.places) / count - chance;
  return out;
}

double worth_by_chance(const std::vector<Segment>& take) {
  if (take.size() < 2) return 0;
  std::minstd_rand random(1);
  double sum = 0;
  for (std::size_t order = 0; order < kOrders; ++order) {
    auto shuffled = take;
    for (std::size_t i = shuffled.size(); i > 1; --i) std::swap(shuffled[i - 1], shuffled[random() % i]);
    if (shuffled.size() > kShuffled) shuffled.resize(kShuffled);
    double best = 0;
    const std::vector<bool> usable(shuffled.size(), true);
    for (const Cycle& cycle : candidates(shuffled, usable, kShuffledCandidates))
      best = std::max(best, worth(shuffled, {cycle}, align(shuffled, {cycle}, false)));
    sum += best / static_cast<double>(shuffled.size());
  }
  return sum / static_cast<double>(kOrders);
}

double confidence(const LoopEvidence& evidence) {
  if (evidence.places <= 1)
    return logistic(kVampWeights[0] + kVampWeights[1] * evidence.coverage +
                    kVampWeights[2] * std::log(1 + evidence.rounds) + kVampWeights[3] * evidence.regular);
  double sum = kWeights[0];
  const auto all = terms(evidence);
  for (std::size_t i = 0; i < all.size(); ++i) sum += kWeights[i + 1] * all[i];
  return logistic(sum);
}

}  // namespace undersong::takes
