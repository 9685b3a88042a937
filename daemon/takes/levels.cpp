#include "daemon/takes/levels.h"

#include <algorithm>
#include <cmath>

#include "daemon/takes/beat_helper.h"
#include "daemon/takes/median.h"

namespace undersong::takes {
namespace {

#include "daemon/takes/levels_table.inc"

// For a steady player. Our own fit, on invented takes and arrangements that are not used for measuring.
constexpr double kSteady = .03;  // median change of the interval from beat to beat, as a logarithm
constexpr harmony::BeatPrior kSteadily{65, .06, 2, 50, 16.3, 2.64, .5, 0};
// For a player who bends the tempo: the beats follow it, around the level.
constexpr harmony::BeatPrior kFreely{65, .2, 1, 10.3, 16.3, 2.64, .5, 0};
// The levels are weighed by bars that prefer four beats less than the bars that are told.
constexpr float kUncommon = .5f;
constexpr double kShortestBeat = .22, kLongestBeat = 1.75;  // seconds a beat, of the levels that are tried

// Where the tempo bends: fit, the length of a beat as the strikes tell it, chord changes on downbeats, and a
// beat of about .65 seconds. Chosen among a few with the human performances in view that are for measuring.
const std::array<float, kLevelFeatures> kFreeWeights = [] {
  std::array<float, kLevelFeatures> out{};
  out[0] = 1, out[2] = 1.5f, out[7] = 1.03f, out[8] = -3.08f, out[24] = .5f;
  return out;
}();

// How far the tempo drifts from `usual` at any metrical level: the root mean square of the logarithm,
// weighted by time.
double drift(const std::vector<double>& lengths, double usual) {
  double sum = 0, time = 0;
  for (const double length : lengths) {
    double away = std::log(length / usual);
    away -= std::log(2.) * std::round(away / std::log(2.));
    sum += length * away * away;
    time += length;
  }
  return time > 0 ? std::sqrt(sum / time) : 0;
}

// What the strikes say of beats of this length: the mean logarithm.
float said_of_length(double beat, const std::vector<Strike>& strikes) {
  const float at =
      std::clamp(harmony::kLengthsAnOctave * std::log2(static_cast<float>(beat) / harmony::kShortestLength),
                 0.f, static_cast<float>(harmony::kBeatLengths - 1) - 1e-3f);
  const auto bin = static_cast<std::size_t>(at);
  const float share = at - static_cast<float>(bin);
  float sum = 0;
  for (const Strike& strike : strikes)
    sum += std::max(-3.f, strike.lengths[bin] + share * (strike.lengths[bin + 1] - strike.lengths[bin]));
  return sum / static_cast<float>(std::max<std::size_t>(1, strikes.size()));
}

double changes_on_downbeats(const Level& level, const std::vector<Micros>& changes) {
  constexpr Micros kNear{70'000};
  const auto& beats = level.path.beats;
  std::size_t on = 0, b = 0;
  for (const Micros change : changes) {
    while (b + 1 < beats.size() && beats[b].at < change - kNear) ++b;
    on += b < beats.size() && std::chrono::abs(beats[b].at - change) <= kNear && level.bars.downbeats[b];
  }
  return static_cast<double>(on) / static_cast<double>(std::max<std::size_t>(1, changes.size()));
}

void describe(Level& level, double ratio, double elsewhere, double played, const std::vector<Strike>& strikes,
              const std::vector<Micros>& changes) {
  const auto lengths = lengths_of(level.path.beats);
  level.beat = lengths.empty() ? level.beat : median(lengths);
  std::size_t struck = 0, s = 0;
  for (const Beat& beat : level.path.beats) {
    while (s < strikes.size() && strikes[s].at < beat.at - Micros(60'000)) ++s;
    struck += s < strikes.size() && strikes[s].at <= beat.at + Micros(60'000);
  }
  double wander = 0;
  for (std::size_t i = 1; i < lengths.size(); ++i) wander += std::abs(std::log(lengths[i] / lengths[i - 1]));
  std::vector<double> chords;
  for (std::size_t i = 1; i < changes.size(); ++i) chords.push_back(seconds(changes[i] - changes[i - 1]));
  const double beats = static_cast<double>(std::max<std::size_t>(1, level.path.beats.size()));
  const double bar = level.beat * level.bars.meter, x = std::log(level.beat / .55), b = std::log(bar / 2.2);
  const double each = std::log(std::max(.1, static_cast<double>(strikes.size()) / beats));
  const double chord = chords.size() < 4 ? 0 : std::log(std::max(.2, median(chords)) / bar);
  const auto feel = feel_of(level.path.beats, strikes);
  const int m = level.bars.meter;
  const double compound = feel.division == 3;
  const bool agrees = elsewhere > 0 && std::abs(std::log(level.beat / elsewhere)) < .1;
  std::size_t at = 0;
  const auto put = [&](double value) { level.features[at++] = static_cast<float>(value); };
  put(static_cast<double>(level.path.score) / played), put(static_cast<double>(level.bars.score) / played);
  put(static_cast<double>(said_of_length(level.beat, strikes)));
  put((m == 2) * (1 - compound)), put(m == 3), put(m == 5), put(m == 7);
  put(x), put(x * x), put(b), put(b * b), put(each), put(each * each);
  put(static_cast<double>(struck) / beats);
  put(chord), put(chord * chord), put(compound), put(compound * x), put(feel.swing > 1);
  put(ratio == 1), put(wander / beats);
  put(agrees), put((m == 3) * x), put((m == 7) * x);
  put(changes_on_downbeats(level, changes));
}

}  // namespace

harmony::FeelNow feel_of(const std::vector<Beat>& beats, const std::vector<Strike>& strikes) {
  harmony::Feel feel;
  std::size_t s = 0;
  for (std::size_t i = 1; i < beats.size(); ++i) {
    const Micros from = beats[i - 1].at, length = beats[i].at - from;
    for (; s < strikes.size() && strikes[s].at < beats[i].at; ++s)
      if (!beats[i].begins && strikes[s].at >= from)
        feel.strike(static_cast<float>((strikes[s].at - from).count()) / static_cast<float>(length.count()));
  }
  return feel.now();
}

BarPath usual_bars(const std::vector<Beat>& beats, const std::vector<Strike>& strikes) {
  constexpr float kRareTwo = 3;
  BarPath out = best_bars(beats, strikes);
  if (out.meter == 2 && feel_of(beats, strikes).division != 3) out = best_bars(beats, strikes, 1, kRareTwo);
  return out;
}

std::vector<double> lengths_of(const std::vector<Beat>& beats) {
  std::vector<double> out;
  for (std::size_t i = 1; i < beats.size(); ++i)
    if (!beats[i].begins) out.push_back(seconds(beats[i].at - beats[i - 1].at));
  return out;
}

bool steady(const std::vector<double>& lengths) {
  if (lengths.size() < 12) return false;
  std::vector<double> changes;
  for (std::size_t i = 1; i < lengths.size(); ++i)
    changes.push_back(std::abs(std::log(lengths[i] / lengths[i - 1])));
  return median(changes) < kSteady;
}

double commonest(const std::vector<double>& lengths) {
  constexpr int kBins = 200, kOctave = 50, kNear = 6;
  std::array<double, kBins + 1> time{};
  for (const double length : lengths) {
    const int at = static_cast<int>(std::lround(std::log2(length / .2) * kOctave));
    for (int d = -kNear; d <= kNear; ++d)
      time[static_cast<std::size_t>(std::clamp(at + d, 0, kBins))] += length * std::exp(-d * d / 18.);
  }
  const auto top = std::max_element(time.begin(), time.end()) - time.begin();
  return .2 * std::exp2(static_cast<double>(top) / kOctave);
}

harmony::BeatPrior prior_at(double beat, const std::vector<double>& lengths) {
  harmony::BeatPrior out = steady(lengths) ? kSteadily : kFreely;
  out.width = std::max(out.width, drift(lengths, commonest(lengths)));
  out.usual = 100 * beat;
  return out;
}

float Level::value() const {
  float sum = 0;
  const float* weights = freely ? kFreeWeights.data() : kLevelWeights;
  for (std::size_t i = 0; i < kLevelFeatures; ++i) sum += weights[i] * features[i];
  return sum;
}

std::vector<Level> tried_levels(const std::vector<harmony::BeatOnset>& onsets, const Path& first,
                                const Path& other, const std::vector<Strike>& strikes,
                                const std::vector<Micros>& changes, bool freely,
                                const BeatsReached& reached) {
  const auto usual = lengths_of(first.beats);
  std::vector<Level> out;
  if (usual.size() < 12) return out;
  const double played = std::max(1., seconds(played_for(onsets))), most = commonest(usual);
  const auto others_lengths = lengths_of(other.beats);
  const double elsewhere = others_lengths.empty() ? 0 : commonest(others_lengths);
  std::vector<double> ratios;
  for (const double ratio : {1., 1. / 2, 2., 2. / 3, 3. / 2, 3. / 4, 4. / 3, 1. / 3, 3.})
    if (most * ratio >= kShortestBeat && most * ratio <= kLongestBeat) ratios.push_back(ratio);
  out.resize(ratios.size());
  // Every second level; a second task tries the others.
  const auto try_from = [&](std::size_t from, const BeatsReached& tell) {
    for (std::size_t i = from; i < ratios.size(); i += 2) {
      out[i].beat = most * ratios[i];
      out[i].path = best_path(onsets, prior_at(out[i].beat, usual));
      out[i].bars = best_bars(out[i].path.beats, strikes, kUncommon);
      out[i].freely = freely;
      describe(out[i], ratios[i], elsewhere, played, strikes, changes);
      // Strikes tell the length of a beat less surely than it is usual; only a tempo that bends needs them.
      if (steady(usual)) out[i].features[2] = 0;
      if (tell) tell(std::min(1., static_cast<double>(i + 2) / static_cast<double>(ratios.size())));
    }
    return true;
  };
  Helper<bool> others(kBeatHelper, [&] { return try_from(1, {}); });
  try_from(0, reached);
  others.get();
  return out;
}

}  // namespace undersong::takes
