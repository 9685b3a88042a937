#include "daemon/harmony/beat_lattice.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

// Shares of notes on the beat, half-way, on quarters, on thirds.
constexpr std::array<double, 4> kPlainShare{0.5, 0.182, 0.135, 0.173}, kBassShare{0.8, 0.128, 0.0301, 0.0231};
constexpr double kSpread = 3.01;  // frames: how far a note lies from where it belongs
constexpr double kChance = 0.0953;  // share of notes that lie anywhere
constexpr double kBassChance = 0.23;  // the same of bass notes
constexpr double kSpreadGrowth = 0.297;  // more in slower beats
constexpr double kUsualInterval = 65;  // frames a beat that are likeliest
constexpr double kIntervalWidth = 0.403;  // of their logarithm
constexpr double kIntervalPrior = 1.06;  // how much that counts, a second
constexpr double kChange = 10.3;  // cost of another interval, by its share of the old one
constexpr double kReach = 0.183;  // largest change of an interval from one beat to the next
constexpr double kBegin = 16.3;  // cost of beginning a pulse
constexpr double kStop = 2.64;  // cost of ending one
constexpr double kStaleBass = 0.711;  // a bass note whose pitch class sounded just before
constexpr double kLow = 1.4;  // weight of a bass note
constexpr double kTop = 0.635;  // of the top of a chord
constexpr double kInner = 0.346;  // of what lies between
constexpr double kFresh = 1.6;  // of a single note that is new

constexpr float kNever = -1e30f;

struct Tables {
  // [offset from the beat][interval], log likelihood ratio of a note there; one for plain notes, one for bass notes.
  std::vector<float> plain, bass;
  std::array<float, BeatLattice::kIntervals> prior{};                       // a beat of this length
  struct Near { std::int16_t first, last; };
  std::array<Near, BeatLattice::kIntervals> near{};                         // intervals that may come before
  std::vector<float> change;                                                // cost [to][from - near.first]
  std::array<std::size_t, BeatLattice::kIntervals> change_at{};
  float start, stop;
};

double place(double offset, double interval, const std::array<double, 4>& share, double sigma, double chance) {
  const auto bell = [&](double at, double s) {
    double d = std::abs(offset - at * interval);
    return std::exp(-0.5 * d * d / (s * s)) / (s * 2.5066);
  };
  double density = share[0] * (bell(0, sigma) + bell(1, sigma)) + share[1] * bell(.5, sigma);
  density += share[2] / 2 * (bell(.25, sigma) + bell(.75, sigma));
  density += share[3] / 2 * (bell(1. / 3, sigma) + bell(2. / 3, sigma));
  return std::log(chance + (1 - chance) * density * interval);
}

const Tables& tables() {
  static const Tables kTables = [] {
    Tables t;
    constexpr int n = BeatLattice::kIntervals, first = BeatLattice::kShortest, longest = BeatLattice::kLongest;
    t.plain.resize(static_cast<std::size_t>((longest + 1) * n), 0.f);
    t.bass = t.plain;
    const double sigma = kSpread, chance = kChance, bchance = kBassChance;
    for (int offset = 0; offset <= longest; ++offset)
      for (int i = 0; i < n; ++i) {
        const auto at = static_cast<std::size_t>(offset * n + i);
        const double interval = first + i, s = sigma * std::pow(interval / 60., kSpreadGrowth);
        t.plain[at] = static_cast<float>(place(offset, interval, kPlainShare, s, chance));
        t.bass[at] = static_cast<float>(place(offset, interval, kBassShare, s, bchance));
      }
    const double centre = kUsualInterval, width = kIntervalWidth, strength = kIntervalPrior, lambda = kChange;
    for (int i = 0; i < n; ++i) {
      const double interval = first + i, x = std::log(interval / centre) / width;
      t.prior[static_cast<std::size_t>(i)] = static_cast<float>(-strength * .5 * x * x * interval / 100);
      const int reach = std::max(2, static_cast<int>(interval * kReach));
      auto& near = t.near[static_cast<std::size_t>(i)];
      near.first = static_cast<std::int16_t>(std::max(0, i - reach));
      near.last = static_cast<std::int16_t>(std::min(n - 1, i + reach));
      t.change_at[static_cast<std::size_t>(i)] = t.change.size();
      for (int from = near.first; from <= near.last; ++from) {
        // Rounding to a frame costs nothing.
        const double d = std::max(0., std::abs(from - i) - .5) / (first + std::min(from, i));
        t.change.push_back(static_cast<float>(lambda * d));
      }
    }
    t.start = static_cast<float>(kBegin);
    t.stop = static_cast<float>(kStop);
    return t;
  }();
  return kTables;
}

}  // namespace

BeatOnset BeatWeigher::weigh(Micros at, Pitch pitch, Velocity velocity) {
  constexpr Micros kChord{70'000};  // struck so close together, notes are one chord
  BeatOnset out;
  out.at = at;
  const float v = static_cast<float>(velocity.value());
  loudness_ += .05f * (v - loudness_);
  // The first of a chord says when; the others add a little.
  bool lowest = true, highest = true, alone = true;
  for (const Recent& r : recent_) {
    if (at - r.at > Micros(400'000)) continue;
    if (r.pitch < pitch) lowest = false;
    if (at - r.at <= kChord) {
      alone = false;
      if (r.pitch > pitch) highest = false;
    }
  }
  const auto pc = static_cast<std::size_t>(pitch.pitch_class().value());
  const bool fresh = at - last_heard_[pc] > Micros(900'000);
  last_heard_[pc] = at;
  const float height = static_cast<float>(pitch.value());
  const bool low = lowest && height < bass_level_ + 7 && height < 62;
  if (lowest) bass_level_ += .1f * (height - bass_level_);
  out.bass = low ? (fresh ? 1.f : static_cast<float>(kStaleBass)) : 0.f;
  out.weight = std::clamp(v / std::max(20.f, loudness_), .4f, 1.7f);
  if (low) out.weight *= static_cast<float>(kLow);
  else if (!alone) out.weight *= static_cast<float>(highest ? kTop : kInner);
  else if (fresh) out.weight *= static_cast<float>(kFresh);
  recent_[next_] = {at, pitch, out.weight};
  next_ = (next_ + 1) % recent_.size();
  return out;
}

BeatLattice::BeatLattice() : values_(static_cast<std::size_t>(kRing) * kIntervals, kNever) {
  tables();  // made now, not with the first note
}

void BeatLattice::step() {
  const Tables& t = tables();
  ++now_;
  float best_arrival = kNever;
  int arrival = 0;
  for (int i = 0; i < kIntervals; ++i) {
    const int from = now_ - (kShortest + i);
    arrived_[static_cast<std::size_t>(i)] = from >= 0 ? row(from)[i] : kNever;
    if (arrived_[static_cast<std::size_t>(i)] > best_arrival) best_arrival = arrived_[static_cast<std::size_t>(i)], arrival = i;
  }
  stopped_from_ = kStart;
  if (best_arrival - t.stop > none_) {
    none_ = best_arrival - t.stop;
    stopped_from_ = static_cast<std::uint8_t>(arrival);
  }
  float* values = row(now_);
  const float begin = none_ - t.start;
  for (int i = 0; i < kIntervals; ++i) {
    const auto at = static_cast<std::size_t>(i);
    float best = begin;
    std::uint8_t from = kStart;
    const float* cost = t.change.data() + t.change_at[at];
    for (int j = t.near[at].first; j <= t.near[at].last; ++j) {
      const float value = arrived_[static_cast<std::size_t>(j)] - *cost++;
      if (value > best) best = value, from = static_cast<std::uint8_t>(j);
    }
    came_from_[at] = from;
    values[i] = best + t.prior[at];
  }
}

void BeatLattice::note(const BeatOnset& onset) {
  const Tables& t = tables();
  const float bass = onset.bass * onset.weight, plain = onset.weight - bass;
  for (int beat = std::max(0, now_ - kLongest); beat <= now_; ++beat) {
    const int offset = now_ - beat, first = std::max(0, offset - kShortest);
    float* values = row(beat);
    const float* a = t.plain.data() + static_cast<std::ptrdiff_t>(offset) * kIntervals;
    const float* b = t.bass.data() + static_cast<std::ptrdiff_t>(offset) * kIntervals;
    for (int i = first; i < kIntervals; ++i) values[i] += plain * a[i] + bass * b[i];
  }
}

std::optional<BeatLattice::Best> BeatLattice::best() const {
  Best best;
  float top = kNever;
  for (int beat = std::max(0, now_ - kLongest); beat <= now_; ++beat) {
    const int first = std::max(0, now_ - beat - kShortest + 1);
    const float* values = row(beat);
    for (int i = first; i < kIntervals; ++i)
      if (values[i] > top) top = values[i], best.beat = beat, best.interval = kShortest + i;
  }
  if (top <= none_) return std::nullopt;
  best.score = top - none_;
  return best;
}

}  // namespace undersong::harmony
