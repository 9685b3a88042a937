#include "daemon/takes/beats.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <random>

#include "daemon/listen/tempo.h"
#include "daemon/takes/bar_path.h"
#include "daemon/takes/beat_helper.h"
#include "daemon/takes/beat_path.h"
#include "daemon/takes/levels.h"
#include "daemon/takes/strikes.h"

namespace undersong::takes {
namespace {

using harmony::BeatOnset;

// The shares of the two kinds of evidence: single notes, and strikes as judged by the network.
constexpr float kNotesShare = .5f, kNotesShareFreely = .7f;
constexpr harmony::StrikeShares kFreeShares{.7f, .8f, 0};
// The prior for measured playing: most is left to what strikes say of the length of a beat.
constexpr harmony::BeatPrior kOpen{65, .403, .2, 10.3, 16.3, 2.64, 0, 0};
// Where the tempo bends, the length of a beat is not judged: what is usual counts more.
constexpr harmony::BeatPrior kOpenFreely{};
constexpr double kBends = .022;  // median change of the interval from beat to beat, as a logarithm
// Free playing, too, fits this much better than the same notes shifted at random.
constexpr double kLuck = 1.05;
constexpr double kSure = .15;   // beyond kLuck, this much more removes any doubt that there is a pulse
constexpr double kBegins = 10;  // cost of beginning a pulse whose tempo is known from elsewhere in the take
// A passage has the pulse only if its notes support it at least this share of what notes do on average.
constexpr double kLeast = .6;

// Puts bars on the beats.
void bar(Beats& found, const std::vector<Strike>& strikes) {
  const BarPath path = usual_bars(found.beats, strikes);
  for (std::size_t i = 0; i < found.beats.size(); ++i) found.beats[i].downbeat = path.downbeats[i];
  found.meter = path.meter;
}

// The median change of the interval from beat to beat, as a logarithm.
double wander(const Path& path) {
  const auto lengths = lengths_of(path.beats);
  std::vector<double> changes;
  for (std::size_t i = 1; i < lengths.size(); ++i)
    changes.push_back(std::abs(std::log(lengths[i] / lengths[i - 1])));
  if (changes.empty()) return 1;
  const auto middle = changes.begin() + static_cast<std::ptrdiff_t>(changes.size() / 2);
  std::nth_element(changes.begin(), middle, changes.end());
  return *middle;
}

template <class T, class At>
std::vector<T> between(const std::vector<T>& all, Micros from, Micros to, At at) {
  std::vector<T> out;
  for (const T& one : all)
    if (at(one) > from && at(one) < to) out.push_back(one);
  return out;
}

// What is asked of a take as a whole, such as its metrical level, is asked of passages that are spread over
// it evenly: a take of an hour tells no more than they do, and each question takes as long as finding the
// beats.
constexpr Micros kLongTake{12 * 60'000'000LL};
constexpr int kPassages = 5;
constexpr Micros kPassage{2 * 60'000'000LL};

template <class T, class At>
std::vector<T> passages(const std::vector<T>& all, Micros begin, Micros end, At at) {
  if (end - begin <= kLongTake) return all;
  std::vector<T> out;
  for (const T& one : all)
    for (int p = 0; p < kPassages; ++p) {
      const Micros from = begin + (end - begin - kPassage) * p / (kPassages - 1);
      if (at(one) >= from && at(one) < from + kPassage) out.push_back(one);
    }
  return out;
}

// The score of the best pulse when each strike is shifted at random, at most half-way to its neighbours. Free
// playing fits a pulse about as well before as after such a shift.
double score_by_chance(const std::vector<BeatOnset>& onsets, const harmony::BeatPrior& prior) {
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
    moved += static_cast<double>(best_path(shaken, prior).score);
  }
  return moved / kTimes;
}

// The beats at the level that a musician would choose. If the playing is steady, passages outside the pulse
// get a pulse of their own or none; if the tempo bends, the beats follow it.
std::vector<Beat> settled(const Path& first, const Path& other, const std::vector<BeatOnset>& onsets,
                          const std::vector<Strike>& strikes, const std::vector<Micros>& changes, bool freely,
                          bool part = false, const BeatsReached& reached = {}) {
  const auto usual = lengths_of(first.beats);
  const bool is_steady = steady(usual);
  if (part && !is_steady) return {};
  const Micros begin = onsets.front().at, end = onsets.back().at;
  const auto heard = passages(onsets, begin, end, [](const BeatOnset& o) { return o.at; });
  std::vector<Level> levels =
      tried_levels(heard, first, other, passages(strikes, begin, end, [](const Strike& s) { return s.at; }),
                   passages(changes, begin, end, [](Micros at) { return at; }), freely, reached);
  if (levels.empty()) return part ? std::vector<Beat>{} : first.beats;
  Level& level = *std::max_element(levels.begin(), levels.end(),
                                   [](const Level& a, const Level& b) { return a.value() < b.value(); });
  if (!is_steady)
    return heard.size() == onsets.size() ? level.path.beats
                                         : best_path(onsets, prior_at(level.beat, usual)).beats;
  harmony::BeatPrior prior = prior_at(level.beat, usual);
  double weight = 0;
  for (const BeatOnset& onset : heard) weight += static_cast<double>(onset.weight);
  prior.begin = kBegins;
  prior.least = kLeast * std::max(0., static_cast<double>(level.path.score)) / std::max(1., weight);
  std::vector<Beat> beats = best_path(onsets, prior).beats;
  if (part) return beats;
  // A long passage without beats may have another pulse.
  constexpr Micros kLong{12'000'000}, kRoom{300'000};
  std::vector<Beat> out;
  const auto look = [&](Micros from, Micros to) {
    if (to - from < kLong) return;
    const auto inside = between(onsets, from, to, [](const BeatOnset& o) { return o.at; });
    if (inside.size() < 16) return;
    for (const Beat& beat : settled(best_path(inside, kOpen), {}, inside,
                                    between(strikes, from, to, [](const Strike& s) { return s.at; }),
                                    between(changes, from, to, [](Micros at) { return at; }), freely, true))
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
std::vector<BeatOnset> judged(std::vector<BeatOnset> onsets, const std::vector<Strike>& struck, bool freely) {
  for (BeatOnset& onset : onsets) onset.weight *= freely ? kNotesShareFreely : kNotesShare;
  for (std::size_t i = 0; i < struck.size(); ++i) {
    const Micros since = i + 1 < struck.size() ? struck[i + 1].at - struck[i].at : Micros(1'000'000);
    onsets.push_back(freely ? harmony::strike_onset(struck[i].at, struck[i], since, kFreeShares)
                            : harmony::strike_onset(struck[i].at, struck[i], since));
  }
  std::stable_sort(onsets.begin(), onsets.end(),
                   [](const BeatOnset& a, const BeatOnset& b) { return a.at < b.at; });
  return onsets;
}

// How much of the work is done after each step, measured with takes of half an hour.
constexpr double kStruckAt = .38, kFirstAt = .62, kLevelsAt = .77, kSettledAt = .98;

}  // namespace

std::vector<Level> levels_of(const std::vector<PlayedNote>& notes, const std::vector<Micros>& changes) {
  if (notes.size() < 4) return {};
  const auto struck = strikes(notes, changes);
  const auto evidence = judged(weighed(notes), struck, false);
  const Path other = best_path(judged(weighed(notes), struck, true), kOpenFreely);
  return tried_levels(evidence, best_path(evidence, kOpen), other, struck, changes, false);
}

Beats find_beats(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes,
                 const BeatsReached& reached) {
  Beats found;
  if (notes.size() < 4) return found;
  const auto reach = [&](double share) {
    if (reached) reached(share);
  };
  const auto onsets = weighed(notes);
  const auto struck = strikes(notes, chord_changes);
  reach(kStruckAt);
  // The beats are looked for in two ways, for measured playing and for a tempo that bends. If either finds
  // that the tempo keeps, it does. The network learnt with chord changes; without any, it counts for less.
  const auto measured = judged(onsets, struck, false), bent = judged(onsets, struck, true);
  Helper<Path> bent_first(kBeatHelper, [&] { return best_path(bent, kOpenFreely); });
  Path first = best_path(measured, kOpen);
  Path other = bent_first.get();
  reach(kFirstAt);
  const bool freely = chord_changes.empty() || std::min(wander(first), wander(other)) > kBends;
  if (freely) std::swap(first, other);
  const auto& evidence = freely ? bent : measured;
  const auto heard =
      passages(evidence, evidence.front().at, evidence.back().at, [](const BeatOnset& o) { return o.at; });
  const harmony::BeatPrior open = freely ? kOpenFreely : kOpen;
  Helper<double> above_chance(kBeatHelper, [&] {
    const float fit = heard.size() == evidence.size() ? first.score : best_path(heard, open).score;
    return (static_cast<double>(fit) + 1) / (score_by_chance(heard, open) + 1);
  });
  found.beats = settled(first, other, evidence, struck, chord_changes, freely, false,
                        [&](double share) { reach(kFirstAt + share * (kLevelsAt - kFirstAt)); });
  reach(kSettledAt);
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
  found.confidence *= static_cast<float>(std::clamp((above_chance.get() - kLuck) / kSure, 0., 1.));
  bar(found, struck);
  found.feel = feel_of(found.beats, struck);
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
  out.feel = {};  // it was that of another level
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
  out.feel = {};  // it was that of another level
  out.beats.clear();
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
      beat.downbeat = k >= first && (k - first) / 2 % static_cast<std::size_t>(beats.meter) == 0;
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
