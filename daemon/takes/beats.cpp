#include "daemon/takes/beats.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>

#include "daemon/harmony/beat_lattice.h"

namespace undersong::takes {
namespace {

using harmony::BeatLattice;
using harmony::BeatOnset;
using harmony::kBeatFrame;

constexpr double kGapAccent = 0.667;  // power of the time to the next note nearby
constexpr double kLengthAccent = 0.113;  // power of how long it is held
constexpr double kChordChange = 0.8;  // a chord change on a beat
constexpr double kBrokenBar = 8;  // cost of a bar that breaks off
constexpr double kThree = 0.95;  // downbeats in three
constexpr double kMiddle = 0.1;  // the third beat of four
constexpr double kWeak = 0.35;  // other beats, which should be weak

// A note that is followed by a rest or held on, among shorter ones, is an accent.
std::vector<BeatOnset> weigh(const std::vector<PlayedNote>& notes) {
  harmony::BeatWeigher weigher;
  std::vector<BeatOnset> out;
  out.reserve(notes.size());
  double usual_gap = 250'000, usual_length = 300'000;
  for (std::size_t i = 0; i < notes.size(); ++i) {
    const PlayedNote& note = notes[i];
    BeatOnset onset = weigher.weigh(note.at, note.pitch, note.velocity);
    // Until the next note of the same hand or voice, roughly: within a fifth or so.
    double gap = 2'000'000;
    for (std::size_t k = i + 1; k < notes.size() && notes[k].at - note.at < Micros(2'000'000); ++k)
      if (notes[k].at - note.at > Micros(70'000) && std::abs(notes[k].pitch.value() - note.pitch.value()) < 9) {
        gap = static_cast<double>((notes[k].at - note.at).count());
        break;
      }
    const double length = std::clamp(static_cast<double>(note.length.count()), 30'000., 2'000'000.);
    const double accent = std::pow(gap / usual_gap, kGapAccent) * std::pow(length / usual_length, kLengthAccent);
    usual_gap += .04 * (gap - usual_gap);
    usual_length += .04 * (length - usual_length);
    onset.weight *= static_cast<float>(std::clamp(accent, .3, 2.5));
    out.push_back(onset);
  }
  return out;
}

struct WayBack {
  std::vector<std::array<std::uint8_t, BeatLattice::kIntervals>> came_from;
  std::vector<std::uint8_t> stopped_from;
};

// The beat lies where its notes lie, if there are any near.
Micros refined(Micros at, Micros interval, const std::vector<BeatOnset>& onsets) {
  const Micros reach = std::min(Micros(60'000), interval / 6);
  auto it = std::lower_bound(onsets.begin(), onsets.end(), at - reach, [](const BeatOnset& o, Micros t) { return o.at < t; });
  double sum = 0, weight = 0;
  for (; it != onsets.end() && it->at <= at + reach; ++it) {
    const double d = static_cast<double>((it->at - at).count()) / 30'000, w = it->weight * (1 + it->bass) * std::exp(-.5 * d * d);
    sum += w * static_cast<double>((it->at - at).count());
    weight += w;
  }
  return weight > 0 ? at + Micros(static_cast<std::int64_t>(sum / weight)) : at;
}

// Nobody hears beats in a silence: those well after its last note and before its next one go.
void drop_silent(Beats& found, const std::vector<BeatOnset>& onsets) {
  constexpr Micros kSilence{4'000'000}, kLingers{900'000}, kAhead{80'000};
  std::vector<Beat> kept;
  bool gap = false;
  for (const Beat& beat : found.beats) {
    const auto next = std::lower_bound(onsets.begin(), onsets.end(), beat.at - kAhead, [](const BeatOnset& o, Micros t) { return o.at < t; });
    const bool silent = next != onsets.end() && next != onsets.begin() && next->at - (next - 1)->at > kSilence &&
                        beat.at - (next - 1)->at > kLingers && next->at - beat.at > kAhead;
    if (!silent) {
      kept.push_back(beat);
      kept.back().begins = kept.back().begins || gap;
    }
    gap = silent;
  }
  found.beats = std::move(kept);
}

// Bars: the best way through (metre, place in the bar); a bar that breaks off costs.
void bar(Beats& found, const std::vector<BeatOnset>& onsets, const std::vector<Micros>& changes) {
  const std::size_t n = found.beats.size();
  std::vector<float> strong(n, 0.f);
  float mean = 0;
  std::size_t o = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const Micros at = found.beats[i].at;
    const Micros reach = std::min(Micros(90'000), i + 1 < n ? (found.beats[i + 1].at - at) / 4 : Micros(90'000));
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
  constexpr int kStates = 7;  // 3: 0..2, 4: 3..6
  const auto meter_of = [](int s) { return s < 3 ? 3 : 4; };
  const auto place_of = [](int s) { return s < 3 ? s : s - 3; };
  std::vector<std::array<std::int8_t, kStates>> back(n);
  std::array<float, kStates> score{};
  for (std::size_t i = 0; i < n; ++i) {
    std::array<float, kStates> next{};
    float top = *std::max_element(score.begin(), score.end());
    const auto top_at = static_cast<std::int8_t>(std::max_element(score.begin(), score.end()) - score.begin());
    for (int s = 0; s < kStates; ++s) {
      const int m = meter_of(s), p = place_of(s), before = s - p + (p + m - 1) % m;
      const float broken = top - static_cast<float>(found.beats[i].begins ? 1.0 : kBrokenBar);
      float best = score[static_cast<std::size_t>(before)];
      back[i][static_cast<std::size_t>(s)] = static_cast<std::int8_t>(before);
      if (i == 0) best = 0;
      else if (broken > best) best = broken, back[i][static_cast<std::size_t>(s)] = top_at;
      const float x = (strong[i] - mean) / std::max(.05f, mean);
      // Downbeats are strong, the third of four may be, others are not.
      const float here = p == 0 ? x * static_cast<float>(m == 4 ? 1.0 : kThree) : (m == 4 && p == 2) ? static_cast<float>(kMiddle) * x : -static_cast<float>(kWeak) * x;
      next[static_cast<std::size_t>(s)] = best + here;
    }
    score = next;
  }
  int s = static_cast<int>(std::max_element(score.begin(), score.end()) - score.begin());
  std::size_t fours = 0;
  for (std::size_t i = n; i-- > 0;) {
    found.beats[i].downbeat = place_of(s) == 0;
    fours += meter_of(s) == 4;
    s = back[i][static_cast<std::size_t>(s)];
  }
  found.meter = 2 * fours >= n ? 4 : 3;
}

}  // namespace

Beats find_beats(const std::vector<PlayedNote>& notes, const std::vector<Micros>& chord_changes) {
  Beats found;
  if (notes.size() < 4) return found;
  const auto onsets = weigh(notes);
  // Some frames before the first note, so that a beat may lie before it.
  const Micros origin = onsets.front().at - kBeatFrame * BeatLattice::kShortest;
  const auto frame = [&](Micros at) { return static_cast<int>((at - origin + kBeatFrame / 2) / kBeatFrame); };
  BeatLattice lattice;
  WayBack way;
  const int last = frame(onsets.back().at);
  way.came_from.reserve(static_cast<std::size_t>(last) + 1);
  way.stopped_from.reserve(static_cast<std::size_t>(last) + 1);
  const auto step = [&] {
    lattice.step();
    way.came_from.push_back(lattice.came_from());
    way.stopped_from.push_back(lattice.stopped_from());
  };
  for (const BeatOnset& onset : onsets) {
    while (lattice.now() < frame(onset.at)) step();
    lattice.note(onset);
  }
  // Back through the beats.
  std::vector<std::pair<int, bool>> frames;  // frame, begins
  const auto best = lattice.best();
  int at = lattice.now(), interval = -1;
  if (best) at = best->beat, interval = best->interval - BeatLattice::kShortest;
  while (at >= 0) {
    if (interval < 0) {  // no pulse here
      if (const auto stopped = way.stopped_from[static_cast<std::size_t>(at)]; stopped != BeatLattice::kStart) {
        frames.emplace_back(at, false);
        interval = stopped;
        at -= BeatLattice::kShortest + interval;
      } else {
        --at;
      }
      continue;
    }
    const auto from = way.came_from[static_cast<std::size_t>(at)][static_cast<std::size_t>(interval)];
    frames.emplace_back(at, from == BeatLattice::kStart);
    if (from == BeatLattice::kStart) {
      // No pulse had come to this very frame.
      interval = -1;
      const auto stopped = way.stopped_from[static_cast<std::size_t>(at)];
      if (stopped == BeatLattice::kStart) { --at; continue; }
      interval = stopped;
      at -= BeatLattice::kShortest + interval;
    } else {
      interval = from;
      at -= BeatLattice::kShortest + interval;
    }
  }
  std::reverse(frames.begin(), frames.end());
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const int next = i + 1 < frames.size() ? frames[i + 1].first - frames[i].first : i > 0 ? frames[i].first - frames[i - 1].first : 50;
    Beat beat;
    beat.at = std::max(Micros{}, refined(origin + kBeatFrame * frames[i].first, kBeatFrame * next, onsets));
    beat.begins = frames[i].second;
    if (found.beats.empty() || beat.at > found.beats.back().at) found.beats.push_back(beat);
  }
  drop_silent(found, onsets);
  float near = 0, all = 0;
  std::size_t b = 0;
  for (const BeatOnset& onset : onsets) {
    all += onset.weight;
    while (b + 1 < found.beats.size() && found.beats[b + 1].at <= onset.at + Micros(40'000)) ++b;
    if (b < found.beats.size() && std::chrono::abs(found.beats[b].at - onset.at) <= Micros(40'000)) near += onset.weight;
  }
  // Where there is no pulse, beats are fitted too, but their intervals wander.
  constexpr double kWandering = .1;  // so much change from beat to beat leaves a third of the confidence
  double change = 0, changes = 0;
  for (std::size_t i = 2; i < found.beats.size(); ++i) {
    if (found.beats[i].begins || found.beats[i - 1].begins) continue;
    const auto length = [&](std::size_t k) { return static_cast<double>((found.beats[k].at - found.beats[k - 1].at).count()); };
    change += std::abs(std::log(length(i) / length(i - 1)));
    ++changes;
  }
  // With fewer strikes than beats almost anything can be fitted.
  double strikes = 0;
  for (std::size_t i = 0; i < onsets.size(); ++i) strikes += i == 0 || onsets[i].at - onsets[i - 1].at > Micros(50'000);
  const double enough = std::min(1., strikes / static_cast<double>(std::max<std::size_t>(1, found.beats.size())));
  if (all > 0 && changes > 0) found.confidence = std::min(1.f, 1.6f * near / all) * static_cast<float>(enough * enough) * static_cast<float>(std::exp(-change / changes / kWandering));
  bar(found, onsets, chord_changes);
  return found;
}

Beats twice_as_fast(const Beats& beats) {
  Beats out = beats;
  out.beats.clear();
  for (std::size_t i = 0; i < beats.beats.size(); ++i) {
    out.beats.push_back(beats.beats[i]);
    if (i + 1 < beats.beats.size() && !beats.beats[i + 1].begins)
      out.beats.push_back({(beats.beats[i].at + beats.beats[i + 1].at) / 2, false, false});
  }
  // A bar of three or four keeps its number of beats and so is halved.
  std::size_t since = 0;
  for (Beat& beat : out.beats) {
    if (beat.downbeat) since = 0;
    beat.downbeat = beat.downbeat || (since > 0 && since % static_cast<std::size_t>(out.meter) == 0);
    ++since;
  }
  return out;
}

Beats half_as_fast(const Beats& beats) {
  Beats out = beats;
  out.beats.clear();
  std::size_t since = 0, bars = 0;
  for (std::size_t i = 0; i < beats.beats.size();) {
    // Within a stretch every second beat, counted from its first downbeat.
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
