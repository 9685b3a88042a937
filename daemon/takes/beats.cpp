// Over 400 lines: the levels that are tried, the gaps and the bars all use one private model of a take.
#include "daemon/takes/beats.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <random>

#include "daemon/base/helper.h"
#include "daemon/listen/tempo.h"
#include "daemon/takes/beat_path.h"
#include "daemon/takes/strikes.h"

namespace undersong::takes {
namespace {

using harmony::BeatOnset;

constexpr const char* kHelper = "aside-2";  // the daemon looks for beats on its thread "aside"

constexpr double kChordChange = 0.8;  // weight of a chord change on a beat
constexpr double kBrokenBar = 8;      // cost of a bar that breaks off
constexpr double kThree = 0.95;       // weight of downbeats in three
constexpr double kMiddle = 0.1;       // weight of the third beat of four
constexpr double kWeak = 0.35;        // weight of other beats, which should be weak

// The shares of the two kinds of evidence: single notes, and strikes as judged by the network.
constexpr float kNotesShare = .7f, kStrikesShare = .7f;
// Flattens the network's probabilities: it is less certain on new takes than on its training data.
constexpr float kTemper = .8f;

// For a steady player. Our own fit, on invented takes and arrangements that are not used for measuring.
constexpr double kSteady = .03;  // median change of the interval from beat to beat, as a logarithm
constexpr harmony::BeatPrior kSteadily{65, .06, 2, 50, 16.3, 2.64, .5, 0};
// For a player who bends the tempo: the level is chosen for the whole take, but the beats follow the tempo.
constexpr harmony::BeatPrior kFreely{65, .2, 1, 10.3, 16.3, 2.64, .5, 0};
// Free playing, too, fits this much better than the same notes shifted at random.
constexpr double kLuck = 1.05;
constexpr double kSure = .15;   // beyond kLuck, this much more removes any doubt that there is a pulse
constexpr double kBegins = 10;  // cost of beginning a pulse whose tempo is known from elsewhere in the take
// A passage has the pulse only if its notes support it at least this share of what notes do on average.
constexpr double kLeast = .6;
// Weights of the bars, of chord changes on downbeats and of the usual length of a beat, to choose the level.
constexpr double kBarWeight = .15;
constexpr double kChangeWeight = .5, kLevelWeight = 1, kUsual = .65, kUsualWidth = .403;

// Finds bars: the best path through the states (metre, position in the bar), with a cost for each bar that is
// cut short. Returns how well the bars explain which beats are strong.
float bar(Beats& found, const std::vector<BeatOnset>& onsets, const std::vector<Micros>& changes) {
  const std::size_t n = found.beats.size();
  std::vector<float> strong(n, 0.f);
  float mean = 0;
  std::size_t o = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const Micros at = found.beats[i].at;
    const Micros reach =
        std::min(Micros(90'000), i + 1 < n ? (found.beats[i + 1].at - at) / 4 : Micros(90'000));
    while (o < onsets.size() && onsets[o].at < at - reach) ++o;
    float bass = 0, any = 0;
    for (std::size_t k = o; k < onsets.size() && onsets[k].at <= at + reach; ++k) {
      bass = std::max(bass, onsets[k].bass * onsets[k].weight);
      any = std::max(any, onsets[k].weight);
    }
    const auto change = std::lower_bound(changes.begin(), changes.end(), at - reach);
    const bool changed = change != changes.end() && *change <= at + reach;
    strong[i] = bass + .2f * any + (changed ? static_cast<float>(kChordChange) : 0.f);
    mean += strong[i];
  }
  mean /= static_cast<float>(std::max<std::size_t>(1, n));
  constexpr int kStates = 7;  // states 0..2: three beats per bar; 3..6: four beats per bar
  const auto meter_of = [](int s) { return s < 3 ? 3 : 4; };
  const auto place_of = [](int s) { return s < 3 ? s : s - 3; };
  std::vector<std::array<std::int8_t, kStates>> back(n);
  std::array<float, kStates> score{};
  for (std::size_t i = 0; i < n; ++i) {
    std::array<float, kStates> next{};
    float top = *std::max_element(score.begin(), score.end());
    const auto top_at =
        static_cast<std::int8_t>(std::max_element(score.begin(), score.end()) - score.begin());
    for (int s = 0; s < kStates; ++s) {
      const int m = meter_of(s), p = place_of(s), before = s - p + (p + m - 1) % m;
      const float broken = top - static_cast<float>(found.beats[i].begins ? 1.0 : kBrokenBar);
      float best = score[static_cast<std::size_t>(before)];
      back[i][static_cast<std::size_t>(s)] = static_cast<std::int8_t>(before);
      if (i == 0)
        best = 0;
      else if (broken > best)
        best = broken, back[i][static_cast<std::size_t>(s)] = top_at;
      const float x = (strong[i] - mean) / std::max(.05f, mean);
      // Downbeats are strong, the third beat of four may be, and other beats are weak.
      const float here = p == 0               ? x * static_cast<float>(m == 4 ? 1.0 : kThree)
                         : (m == 4 && p == 2) ? static_cast<float>(kMiddle) * x
                                              : -static_cast<float>(kWeak) * x;
      next[static_cast<std::size_t>(s)] = best + here;
    }
    score = next;
  }
  int s = static_cast<int>(std::max_element(score.begin(), score.end()) - score.begin());
  const float explained = n > 0 ? score[static_cast<std::size_t>(s)] : 0;
  std::size_t fours = 0;
  for (std::size_t i = n; i-- > 0;) {
    found.beats[i].downbeat = place_of(s) == 0;
    fours += meter_of(s) == 4;
    s = back[i][static_cast<std::size_t>(s)];
  }
  found.meter = 2 * fours >= n ? 4 : 3;
  return explained;
}

// The lengths of the beats in seconds, without gaps.
std::vector<double> lengths(const std::vector<Beat>& beats) {
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
  const auto middle = changes.begin() + static_cast<std::ptrdiff_t>(changes.size() / 2);
  std::nth_element(changes.begin(), middle, changes.end());
  return *middle < kSteady;
}

// The most common beat length, weighted by time, in seconds.
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

// What the bars say for a level: how well they explain the strong beats, and how many chord changes fall on
// downbeats.
double barred(const Path& path, const std::vector<BeatOnset>& onsets, const std::vector<Micros>& changes,
              double length) {
  Beats beats;
  beats.beats = path.beats;
  const double explained = static_cast<double>(bar(beats, onsets, changes));
  std::size_t at_downbeats = 0, b = 0;
  for (const Micros change : changes) {
    while (b + 1 < beats.beats.size() && beats.beats[b].at < change - Micros(70'000)) ++b;
    at_downbeats += b < beats.beats.size() &&
                    std::chrono::abs(beats.beats[b].at - change) <= Micros(70'000) && beats.beats[b].downbeat;
  }
  return kBarWeight * explained / length + kChangeWeight * static_cast<double>(at_downbeats) /
                                               static_cast<double>(std::max<std::size_t>(1, changes.size()));
}

template <class T, class At>
std::vector<T> between(const std::vector<T>& all, Micros from, Micros to, At at) {
  std::vector<T> out;
  for (const T& one : all)
    if (at(one) > from && at(one) < to) out.push_back(one);
  return out;
}

// The score of the best pulse when each strike is shifted at random, at most half-way to its neighbours. Free
// playing fits a pulse about as well before as after such a shift.
double score_by_chance(const std::vector<BeatOnset>& onsets) {
  constexpr Micros kOneStrike{50'000};
  constexpr double kFarthest = 150'000;
  double moved = 0;
  constexpr unsigned kTimes = 2;
  for (unsigned time = 1; time <= kTimes; ++time) {
    std::minstd_rand random(time);
    std::vector<BeatOnset> shaken = onsets;
    for (std::size_t i = 0, end = 0; i < onsets.size(); i = end) {
      for (end = i + 1; end < onsets.size() && onsets[end].at - onsets[end - 1].at <= kOneStrike;) ++end;
      const auto room = [&](std::size_t a, std::size_t b) {
        return std::min(kFarthest, .5 * static_cast<double>((onsets[b].at - onsets[a].at).count()));
      };
      const double before = i > 0 ? room(i - 1, i) : kFarthest,
                   after = end < onsets.size() ? room(end - 1, end) : kFarthest;
      const double share = static_cast<double>(random() - std::minstd_rand::min()) /
                           static_cast<double>(std::minstd_rand::max() - std::minstd_rand::min());
      for (std::size_t k = i; k < end; ++k)
        shaken[k].at += Micros(static_cast<std::int64_t>(share * (before + after) - before));
    }
    moved += static_cast<double>(best_path(shaken, {}).score);
  }
  return moved / kTimes;
}

// Chooses the metrical level. A player usually keeps one level, so every plausible level is tried on the
// whole take, and the one that explains most, together with its bars, wins. If the playing is steady,
// passages outside the pulse get a pulse of their own or none; if the tempo bends, the beats follow it.
std::vector<Beat> settled(const Path& first, const std::vector<BeatOnset>& onsets,
                          const std::vector<Micros>& changes, bool part = false) {
  const auto usual = lengths(first.beats);
  if (usual.size() < 12 || (part && !steady(usual))) return part ? std::vector<Beat>{} : first.beats;
  const double length = std::max(1., seconds(played_for(onsets))), most = commonest(usual);
  const bool is_steady = steady(usual);
  harmony::BeatPrior kind = is_steady ? kSteadily : kFreely;
  kind.width = std::max(kind.width, drift(usual, most));
  harmony::BeatPrior prior = kind;
  Path best;
  std::vector<double> levels;
  for (const double level : {1., 1. / 2, 2., 2. / 3, 3. / 2, 3. / 4, 4. / 3, 1. / 3, 3.})
    if (const double beat = most * level; beat >= .27 && beat <= 1.5) levels.push_back(beat);
  struct Tried {
    Path path;
    double value = -1e9, beat = 0;
  };
  // Tries every second level and returns the best; a second task tries the others.
  const auto try_levels = [&](std::size_t first_level) {
    Tried out;
    for (std::size_t i = first_level; i < levels.size(); i += 2) {
      harmony::BeatPrior tried = kind;
      tried.usual = 100 * levels[i];
      Path path = best_path(onsets, tried);
      const double x = std::log(levels[i] / kUsual) / kUsualWidth;
      const double value = static_cast<double>(path.score) / length + barred(path, onsets, changes, length) -
                           kLevelWeight * .5 * x * x;
      if (value > out.value) out = {std::move(path), value, levels[i]};
    }
    return out;
  };
  Helper<Tried> others(kHelper, [&] { return try_levels(1); });
  Tried found = try_levels(0);
  if (Tried other = others.get(); other.value > found.value) found = std::move(other);
  if (found.beat > 0) best = std::move(found.path), prior.usual = 100 * found.beat;
  double weight = 0;
  for (const BeatOnset& onset : onsets) weight += static_cast<double>(onset.weight);
  if (!is_steady) return best.beats;
  prior.begin = kBegins;
  prior.least = kLeast * std::max(0., static_cast<double>(best.score)) / std::max(1., weight);
  std::vector<Beat> beats = best_path(onsets, prior).beats;
  if (part) return beats;
  // A long passage without beats may have another pulse.
  constexpr Micros kLong{12'000'000}, kRoom{300'000};
  std::vector<Beat> out;
  const auto look = [&](Micros from, Micros to) {
    if (to - from < kLong) return;
    const auto inside = between(onsets, from, to, [](const BeatOnset& o) { return o.at; });
    if (inside.size() < 16) return;
    for (const Beat& beat : settled(best_path(inside, {}), inside,
                                    between(changes, from, to, [](Micros at) { return at; }), true))
      if (beat.at > from + kRoom && beat.at < to - kRoom) out.push_back(beat);
  };
  Micros from = onsets.front().at - Micros(1'000'000);
  for (std::size_t i = 0; i < beats.size(); ++i) {
    if (i == 0 || beats[i].begins) look(from, beats[i].at);
    out.push_back(beats[i]);
    from = beats[i].at;
  }
  look(from, onsets.back().at + Micros(1'000'000));
  return out;
}

// All evidence for beats: each note by itself, and the network's judgement of each strike. The two make
// different errors, so together they tell more than either alone.
std::vector<BeatOnset> judged(std::vector<BeatOnset> onsets, const std::vector<Strike>& struck) {
  for (BeatOnset& onset : onsets) onset.weight *= kNotesShare;
  for (const Strike& strike : struck) {
    const float odds = strike.beat / std::max(1e-6f, 1 - strike.beat), tempered = std::pow(odds, kTemper);
    BeatOnset onset;
    onset.at = strike.at;
    onset.weight = kStrikesShare;
    onset.beat = tempered / (1 + tempered);
    onsets.push_back(onset);
  }
  std::stable_sort(onsets.begin(), onsets.end(),
                   [](const BeatOnset& a, const BeatOnset& b) { return a.at < b.at; });
  return onsets;
}

}  // namespace

Beats find_beats(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes) {
  Beats found;
  if (notes.size() < 4) return found;
  const auto onsets = weighed(notes);
  const auto evidence = judged(onsets, strikes(notes, chord_changes));
  Helper<double> by_chance(kHelper, [&] { return score_by_chance(evidence); });
  const Path first = best_path(evidence, {});
  found.beats = settled(first, evidence, chord_changes);
  float near = 0, all = 0;
  std::size_t b = 0;
  for (const BeatOnset& onset : onsets) {
    all += onset.weight;
    while (b + 1 < found.beats.size() && found.beats[b + 1].at <= onset.at + Micros(40'000)) ++b;
    if (b < found.beats.size() && std::chrono::abs(found.beats[b].at - onset.at) <= Micros(40'000))
      near += onset.weight;
  }
  // Beats are fitted even where there is no pulse, but then their lengths vary. At this mean change from beat
  // to beat, a third of the confidence is left.
  constexpr double kWandering = .1;
  double change = 0, changes = 0;
  for (std::size_t i = 2; i < found.beats.size(); ++i) {
    if (found.beats[i].begins || found.beats[i - 1].begins) continue;
    const auto length = [&](std::size_t k) {
      return static_cast<double>((found.beats[k].at - found.beats[k - 1].at).count());
    };
    change += std::abs(std::log(length(i) / length(i - 1)));
    ++changes;
  }
  // With fewer strikes than beats, almost any beats would fit.
  double strikes = 0;
  for (std::size_t i = 0; i < onsets.size(); ++i)
    strikes += i == 0 || onsets[i].at - onsets[i - 1].at > Micros(50'000);
  const double enough =
      std::min(1., strikes / static_cast<double>(std::max<std::size_t>(1, found.beats.size())));
  if (all > 0 && changes > 0)
    found.confidence = std::min(1.f, 1.6f * near / all) * static_cast<float>(enough * enough) *
                       static_cast<float>(std::exp(-change / changes / kWandering));
  found.confidence *= static_cast<float>(
      std::clamp(((static_cast<double>(first.score) + 1) / (by_chance.get() + 1) - kLuck) / kSure, 0., 1.));
  bar(found, onsets, chord_changes);
  return found;
}

Micros usual_length(const Beats& beats) {
  std::vector<Micros> all;
  for (std::size_t i = 1; i < beats.beats.size(); ++i)
    if (!beats.beats[i].begins) all.push_back(beats.beats[i].at - beats.beats[i - 1].at);
  if (all.empty()) return Micros(0);
  std::nth_element(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end());
  return all[all.size() / 2];
}

Beats twice_as_fast(const Beats& beats) {
  if (!listen::is_tempo(usual_length(beats) / 2)) return beats;
  Beats out = beats;
  out.beats.clear();
  for (std::size_t i = 0; i < beats.beats.size(); ++i) {
    out.beats.push_back(beats.beats[i]);
    if (i + 1 < beats.beats.size() && !beats.beats[i + 1].begins)
      out.beats.push_back({(beats.beats[i].at + beats.beats[i + 1].at) / 2, false, false});
  }
  // A bar keeps its number of beats, so bars become half as long.
  std::size_t since = 0;
  for (Beat& beat : out.beats) {
    if (beat.downbeat) since = 0;
    beat.downbeat = beat.downbeat || (since > 0 && since % static_cast<std::size_t>(out.meter) == 0);
    ++since;
  }
  return out;
}

Beats half_as_fast(const Beats& beats) {
  if (!listen::is_tempo(usual_length(beats) * 2)) return beats;
  Beats out = beats;
  out.beats.clear();
  std::size_t since = 0, bars = 0;
  for (std::size_t i = 0; i < beats.beats.size();) {
    // Keep every second beat of a stretch, counted from its first downbeat.
    std::size_t end = i + 1;
    while (end < beats.beats.size() && !beats.beats[end].begins) ++end;
    std::size_t first = i;
    while (first < end && !beats.beats[first].downbeat) ++first;
    if (first == end) first = i;
    const std::size_t start = i + (first - i) % 2;
    for (std::size_t k = start; k < end; k += 2) {
      Beat beat = beats.beats[k];
      beat.begins = k == start;
      since = k == start ? 0 : since + 1;
      beat.downbeat = k >= first && (k - first) / 2 % static_cast<std::size_t>(beats.meter) == 0;
      bars += beat.downbeat;
      out.beats.push_back(beat);
    }
    i = end;
  }
  return out;
}

Beats with_beat_one(const Beats& beats, Micros at, int meter) {
  Beats out = beats;
  if (out.beats.empty() || meter < 1) return out;
  out.meter = meter;
  std::size_t one = 0;
  for (std::size_t i = 0; i < out.beats.size(); ++i)
    if (std::chrono::abs(out.beats[i].at - at) < std::chrono::abs(out.beats[one].at - at)) one = i;
  const auto m = static_cast<std::ptrdiff_t>(meter);
  for (std::size_t i = 0; i < out.beats.size(); ++i) {
    const auto d = (static_cast<std::ptrdiff_t>(i) - static_cast<std::ptrdiff_t>(one)) % m;
    out.beats[i].downbeat = d == 0;
  }
  return out;
}

}  // namespace undersong::takes
