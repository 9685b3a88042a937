#include "daemon/harmony/beat_lattice.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "daemon/harmony/lanes.h"

namespace undersong::harmony {
namespace {

// Shares of notes on the beat, half-way, on quarters and on thirds.
constexpr std::array<double, 4> kPlainShare{0.5, 0.182, 0.135, 0.173}, kBassShare{0.8, 0.128, 0.0301, 0.0231};
constexpr double kNoteSpread = 3.01;     // frames: how far notes lie from where they belong
constexpr double kChance = 0.0953;       // share of notes that lie anywhere by chance
constexpr double kBassChance = 0.23;     // the same for bass notes
constexpr double kSpreadGrowth = 0.297;  // how the spread grows in slower beats
constexpr double kReach = 0.183;         // largest relative change of an interval from one beat to the next
constexpr double kStaleBass = 0.711;     // weight of a bass note whose pitch class sounded just before
constexpr double kLow = 1.4;             // weight of a bass note
constexpr double kTop = 0.635;           // weight of the top note of a chord
constexpr double kInner = 0.346;         // weight of inner notes
constexpr double kFresh = 1.6;           // weight of a single note that is new

// For judged strikes that are not on a beat: shares half-way, on quarters and on thirds, and their spread.
constexpr double kHalves = .4, kQuarters = .3, kThirds = .3, kJudgedSpread = 3.2;

constexpr float kNever = -1e30f;

struct LatticeTables {
  // [offset from the beat][interval]: log likelihood ratio of a note there, for plain notes and for bass
  // notes.
  std::vector<float> plain, bass;
};

double likelihood_of(double offset, double interval, const std::array<double, 4>& share, double sigma,
                     double chance) {
  const auto bell = [&](double at, double s) {
    const double d = std::abs(offset - at * interval);
    if (d > 7 * s) return 0.;  // negligible beside kChance
    return std::exp(-0.5 * d * d / (s * s)) / (s * 2.5066);
  };
  double density = share[0] * (bell(0, sigma) + bell(1, sigma)) + share[1] * bell(.5, sigma);
  density += share[2] / 2 * (bell(.25, sigma) + bell(.75, sigma));
  density += share[3] / 2 * (bell(1. / 3, sigma) + bell(2. / 3, sigma));
  return std::log(chance + (1 - chance) * density * interval);
}

// The same for judged strikes, by the probability that they lie on a beat. Values in between are
// interpolated.
struct JudgedTables {
  static constexpr std::array<float, 7> kAt{.02f, .08f, .2f, .4f, .65f, .85f, .96f};
  std::array<std::vector<float>, kAt.size()> by;
};

const JudgedTables& judged_tables() {
  static const JudgedTables kTables = [] {
    JudgedTables t;
    constexpr int n = BeatLattice::kIntervals, first = BeatLattice::kShortest,
                  longest = BeatLattice::kLongest;
    for (std::size_t k = 0; k < t.kAt.size(); ++k) {
      const double on = static_cast<double>(t.kAt[k]), off = 1 - on;
      const std::array<double, 4> share{on, off * kHalves, off * kQuarters, off * kThirds};
      t.by[k].resize(static_cast<std::size_t>((longest + 1) * n), 0.f);
      for (int offset = 0; offset <= longest; ++offset)
        for (int i = std::max(0, offset - first); i < n; ++i) {
          const double interval = first + i, s = kJudgedSpread * std::pow(interval / 60., kSpreadGrowth);
          t.by[k][static_cast<std::size_t>(offset * n + i)] =
              static_cast<float>(likelihood_of(offset, interval, share, s, kChance));
        }
    }
    return t;
  }();
  return kTables;
}

const LatticeTables& lattice_tables() {
  static const LatticeTables kTables = [] {
    LatticeTables t;
    constexpr int n = BeatLattice::kIntervals, first = BeatLattice::kShortest,
                  longest = BeatLattice::kLongest;
    t.plain = std::vector<float>(static_cast<std::size_t>((longest + 1) * n));
    t.bass = t.plain;
    const double sigma = kNoteSpread, chance = kChance, bchance = kBassChance;
    for (int offset = 0; offset <= longest; ++offset)
      for (int i = std::max(0, offset - first); i < n; ++i) {  // shorter intervals have ended
        const auto at = static_cast<std::size_t>(offset * n + i);
        const double interval = first + i, s = sigma * std::pow(interval / 60., kSpreadGrowth);
        t.plain[at] = static_cast<float>(likelihood_of(offset, interval, kPlainShare, s, chance));
        t.bass[at] = static_cast<float>(likelihood_of(offset, interval, kBassShare, s, bchance));
      }
    return t;
  }();
  return kTables;
}

}  // namespace

BeatOnset strike_onset(Micros at, const Judgement& judged, Micros since, const StrikeShares& shares) {
  constexpr Micros kLongestThatCounts{1'000'000};
  BeatOnset onset;
  onset.at = at;
  onset.weight = shares.strikes;
  const float tempered = std::pow(judged.beat / std::max(1e-6f, 1 - judged.beat), shares.temper);
  onset.beat = tempered / (1 + tempered);
  if (shares.lengths > 0) onset.lengths = &judged.lengths;
  onset.lasts = shares.lengths * static_cast<float>(std::min(since, kLongestThatCounts).count()) / 1e6f;
  return onset;
}

BeatOnset BeatWeigher::weigh(Micros at, Pitch pitch, Velocity velocity) {
  constexpr Micros kChord{70'000};  // notes struck this close together are one chord
  BeatOnset out;
  out.at = at;
  const float v = static_cast<float>(velocity.value());
  loudness_ += .05f * (v - loudness_);
  // The first note of a chord gives the time; the others add a little.
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
  if (low)
    out.weight *= static_cast<float>(kLow);
  else if (!alone)
    out.weight *= static_cast<float>(highest ? kTop : kInner);
  else if (fresh)
    out.weight *= static_cast<float>(kFresh);
  recent_[next_] = {at, pitch, out.weight};
  next_ = (next_ + 1) % recent_.size();
  return out;
}

struct BeatLattice::Costs {
  std::array<float, kIntervals> prior{};  // cost of a beat of this length
  std::array<float, kIntervals> slope{};  // cost of a change by one frame, without rounding
  struct Range {
    int first, end;
  };
  std::array<Range, kIntervals / kLane> before{};  // intervals that may come before one of this vector
  std::array<std::array<float, kIntervals>, kIntervals> change{};  // cost [from][to]
  float start = 0, stop = 0, least = 0;
  // The intervals worth trying, in whole vectors: the prior rules out the others.
  int first = 0, end = kIntervals;
};

std::shared_ptr<const BeatLattice::Costs> BeatLattice::costs_of(const BeatPrior& prior) {
  const auto costs = std::make_shared<Costs>();
  Costs& t = *costs;
  constexpr int n = kIntervals, first = kShortest;
  for (int i = 0; i < n; ++i) {
    const double interval = first + i, x = std::log(interval / prior.usual) / prior.width;
    t.prior[static_cast<std::size_t>(i)] =
        static_cast<float>(-(prior.strength * .5 * x * x + prior.rent) * interval / 100);
  }
  constexpr double kFarthest = 5;  // standard deviations
  constexpr int kVector = static_cast<int>(kLane);
  const auto index = [&](double away) {
    return static_cast<int>(prior.usual * std::exp(away * kFarthest * prior.width)) - first;
  };
  t.first = std::clamp(index(-1), 0, n - 1) / kVector * kVector;
  t.end = (std::clamp(index(1), 0, n - 1) / kVector + 1) * kVector;
  const auto reach = [](int to) { return std::max(2, static_cast<int>((first + to) * kReach)); };
  for (int from = 0; from < n; ++from) {
    const auto at = static_cast<std::size_t>(from);
    int low = from, high = from;
    while (low > t.first && from - (low - 1) <= reach(low - 1)) --low;
    while (high + 1 < t.end && high + 1 - from <= reach(high + 1)) ++high;
    t.slope[at] = static_cast<float>(prior.change / (first + from - 1));
    for (int v = low / kVector; v <= high / kVector; ++v) {
      auto& [begin, end] = t.before[static_cast<std::size_t>(v)];
      if (end == 0) begin = from;
      end = from + 1;
    }
    t.change[at].fill(-kNever);
    for (int to = low; to <= high; ++to) {
      // Changes within the rounding to a frame cost nothing.
      const double d = std::max(0., std::abs(from - to) - .5) / (first + std::min(from, to));
      t.change[at][static_cast<std::size_t>(to)] = static_cast<float>(prior.change * d);
    }
  }
  t.start = static_cast<float>(prior.begin);
  t.stop = static_cast<float>(prior.stop);
  t.least = static_cast<float>(prior.least);
  return costs;
}

BeatLattice::BeatLattice() : values_(static_cast<std::size_t>(kRing) * kIntervals, kNever) {
  static const auto kCosts = costs_of({});
  costs_ = kCosts;
  lattice_tables();  // built now and not at the first note; a live performance has no judged strikes
}

BeatLattice::BeatLattice(const BeatPrior& prior)
    : costs_(costs_of(prior)), values_(static_cast<std::size_t>(kRing) * kIntervals, kNever) {}

namespace {

// The highest value from i to the end of a row.
[[gnu::always_inline]] inline float highest(const float* row, int i) {
  constexpr int kWhole = static_cast<int>(kLane);
  static_assert(BeatLattice::kIntervals % kLane == 0);
  float top = kNever;
  for (; i % kWhole != 0; ++i) top = row[i] > top ? row[i] : top;
  if (i == BeatLattice::kIntervals) return top;
  Lane tops = load(row + i);
  for (i += kWhole; i < BeatLattice::kIntervals; i += kWhole) {
    const Lane here = load(row + i);
    tops = here > tops ? here : tops;
  }
  for (std::size_t l = 0; l < kLane; ++l) top = tops[l] > top ? tops[l] : top;
  return top;
}
int place_of(const float* row, int i, float value) {
  while (row[i] != value) ++i;
  return i;
}

}  // namespace

UNDERSONG_WIDE void BeatLattice::step() {
  const Costs& t = *costs_;
  ++now_;
  // A pulse that arrives now left one interval ago: one row further back for each longer interval.
  arrived_.fill(kNever);
  float* __restrict arrived = arrived_.data() + 1;
  const int able = std::min(t.end, now_ - kShortest + 1);
  for (int i = t.first, place = (now_ - kShortest - t.first + 2 * kRing) % kRing; i < able;
       ++i, place = place == 0 ? kRing - 1 : place - 1)
    arrived[i] = values_[static_cast<std::size_t>(place * kIntervals + i)];
  stopped_from_ = kStart;
  if (const float best = highest(arrived, 0); best - t.stop > none_) {
    none_ = best - t.stop;
    stopped_from_ = static_cast<std::uint8_t>(place_of(arrived, 0, best));
  }
  float* __restrict values = row(now_);
  const float begin = none_ - t.start;
  // The intervals from which another may follow. Where starting a new pulse is better, none does. The same
  // holds where the interval next to it is better even at the full cost of the change to it.
  std::array<std::int32_t, kIntervals> able_to;
  std::array<std::int32_t, kIntervals> worth;
  for (int i = t.first; i < t.end; i += static_cast<int>(kLane)) {
    const float* here = arrived + i;
    const Lane value = load(here), slope = load(&t.slope[static_cast<std::size_t>(i)]);
    store(&worth[static_cast<std::size_t>(i)],
          (value > begin) & (load(here - 1) - slope < value) & (load(here + 1) - slope < value));
  }
  std::size_t sources = 0;
  for (std::int32_t j = t.first; j < t.end; ++j) {
    able_to[sources] = j;
    sources -= static_cast<std::size_t>(worth[static_cast<std::size_t>(j)]);
  }
  std::size_t from_here = 0;
  for (int i = t.first; i < t.end; i += static_cast<int>(kLane)) {
    const auto [low, high] = t.before[static_cast<std::size_t>(i) / kLane];
    while (from_here < sources && able_to[from_here] < low) ++from_here;
    Lane top = Lane{} + begin;
    WholeLane from = WholeLane{} + kStart;
    for (std::size_t k = from_here; k < sources && able_to[k] < high; ++k) {
      const auto at = static_cast<std::size_t>(able_to[k]);
      const Lane here = arrived[able_to[k]] - load(&t.change[at][static_cast<std::size_t>(i)]);
      const WholeLane better = here > top;
      top = better ? here : top;
      from = better ? WholeLane{} + able_to[k] : from;
    }
    store(values + i, top + load(&t.prior[static_cast<std::size_t>(i)]));
    const auto came = __builtin_convertvector(from, ByteLane);
    std::memcpy(&came_from_[static_cast<std::size_t>(i)], &came, sizeof came);
  }
  if (!best_known_) return;
  if (best_.interval <= now_ - best_.beat) {
    best_known_ = false;  // its next beat is due here
  } else if (const float top = highest(values, 0); top > best_.score) {
    best_ = {now_, kShortest + place_of(values, 0, top), top};
  }
}

UNDERSONG_WIDE void BeatLattice::note(std::span<const BeatOnset> onsets) {
  // What the notes add at each place in a beat: tables, each with its weight. For a judged strike, two tables
  // are interpolated. All that is not judged shares two.
  struct Share {
    const float* table;
    float weight;
  };
  std::array<Share, 4> shares{};
  std::size_t count = 0;
  const auto add = [&] {
    for (int beat = std::max(0, now_ - kLongest); beat <= now_; ++beat) {
      const int offset = now_ - beat;
      // Start at a vector boundary: shorter intervals have ended, and nobody reads them.
      constexpr int kWhole = static_cast<int>(kLane);
      float* __restrict values = row(beat);
      const std::ptrdiff_t at = static_cast<std::ptrdiff_t>(offset) * kIntervals;
      const int first = std::max(costs_->first, (offset - kShortest) / kWhole * kWhole), end = costs_->end;
      const auto [a, more] = shares[0];
      const auto [b, much] = shares[1];
      if (count == 2)
        for (int i = first; i < end; i += kWhole)
          store(values + i, load(values + i) + (more * load(a + at + i) + much * load(b + at + i)));
      else
        for (int i = first; i < end; i += kWhole)
          store(values + i, load(values + i) + (more * load(a + at + i) + much * load(b + at + i)) +
                                (shares[2].weight * load(shares[2].table + at + i) +
                                 shares[3].weight * load(shares[3].table + at + i)));
    }
    count = 0;
  };
  float plain = 0, bass = 0;
  for (const BeatOnset& onset : onsets) {
    none_ += costs_->least * onset.weight;
    if (onset.lengths) add_lengths(onset);
    if (onset.beat < 0) {
      bass += onset.bass * onset.weight, plain += onset.weight - onset.bass * onset.weight;
      continue;
    }
    const JudgedTables& t = judged_tables();
    std::size_t k = 1;
    while (k + 1 < t.kAt.size() && onset.beat > t.kAt[k]) ++k;
    const float share = std::clamp((onset.beat - t.kAt[k - 1]) / (t.kAt[k] - t.kAt[k - 1]), 0.f, 1.f);
    const float more = onset.weight * share;
    shares[count++] = {t.by[k - 1].data(), onset.weight - more};
    shares[count++] = {t.by[k].data(), more};
    if (count == shares.size()) add();
  }
  if (plain > 0 || bass > 0) {
    shares[count++] = {lattice_tables().plain.data(), plain};
    shares[count++] = {lattice_tables().bass.data(), bass};
  }
  if (count > 0) add();
  best_known_ = false;
}

// What is judged of the length of a beat counts for all beats that go on here.
UNDERSONG_WIDE void BeatLattice::add_lengths(const BeatOnset& onset) {
  struct Place {
    std::size_t bin;
    float share;
  };
  static const auto kPlaces = [] {
    std::array<Place, kIntervals> out{};
    for (int i = 0; i < kIntervals; ++i) {
      const float length = static_cast<float>(kShortest + i) * 1e-6f * static_cast<float>(kBeatFrame.count());
      const float at = std::clamp(kLengthsAnOctave * std::log2(length / kShortestLength), 0.f,
                                  static_cast<float>(kBeatLengths - 1) - 1e-3f);
      const auto bin = static_cast<std::size_t>(at);
      out[static_cast<std::size_t>(i)] = {bin, at - static_cast<float>(bin)};
    }
    return out;
  }();
  constexpr float kLeastLikely = -5;
  std::array<float, kIntervals> more;
  for (std::size_t i = 0; i < kIntervals; ++i) {
    const auto [bin, share] = kPlaces[i];
    const float here = (*onset.lengths)[bin], next = (*onset.lengths)[bin + 1];
    more[i] = onset.lasts * std::max(kLeastLikely, here + share * (next - here));
  }
  for (int beat = std::max(0, now_ - kLongest); beat <= now_; ++beat) {
    float* __restrict values = row(beat);
    constexpr int kWhole = static_cast<int>(kLane);
    const int first = std::max(costs_->first, (now_ - beat - kShortest) / kWhole * kWhole);
    for (int i = first; i < costs_->end; i += kWhole)
      store(values + i, load(values + i) + load(&more[static_cast<std::size_t>(i)]));
  }
}

UNDERSONG_WIDE void BeatLattice::find_best() {
  best_ = {0, 0, kNever};
  for (int beat = std::max(0, now_ - kLongest); beat <= now_; ++beat) {
    const int first = std::max(0, now_ - beat - kShortest + 1);
    const float* values = row(beat);
    if (first >= kIntervals) continue;
    if (const float top = highest(values, first); top > best_.score)
      best_ = {beat, kShortest + place_of(values, first, top), top};
  }
  best_known_ = true;
}

std::optional<BeatLattice::Best> BeatLattice::best() {
  if (!best_known_) find_best();
  if (best_.score <= none_) return std::nullopt;
  Best found = best_;
  found.score -= none_;
  return found;
}

float BeatLattice::total() {
  if (!best_known_) find_best();
  return std::max(best_.score, none_);
}

}  // namespace undersong::harmony
