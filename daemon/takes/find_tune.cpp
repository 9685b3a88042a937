#include "daemon/takes/find_tune.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>

namespace undersong::takes {

namespace {

enum Term : std::uint8_t {
  kInMelody,       // notes found in the melody
  kInTop,          // in the highest line only
  kInner,          // in another voice
  kOff,            // the square of what a note is off, in parts of the expected unevenness
  kTuneNeighbour,  // a neighbour key of the melody instead
  kTuneMissed,     // nothing there
  kTuneTwice,      // nothing there, but the note before was the same and not long ago
  kPassedMelody,   // melody notes of the take that the tune lacks
  kPassedTop,
  kTempo,  // the logarithm of the two tempos' proportion
  kLeap,   // notes found after a leap of more than a whole tone
  kStill,  // notes found that repeat the one before
  kTerms
};
using Terms = std::array<float, kTerms>;
// Learnt; see the header.
constexpr Terms kTuneWeights{2.01f,  0.98f,  0.39f, -1.80f, -0.78f, -2.18f,
                             -0.71f, -0.41f, 0.03f, -1.24f, 0.15f,  0.23f};

struct Walk {
  std::span<const FindNote> tune;
  std::span<const RoledNote> notes;
  int shift;
  double rate;
  Terms terms{};
  FindTime reached = 0;

  void go(std::size_t begin, int step, double tune_at, double take_at) {
    const double anchor_tune = tune_at, anchor_take = take_at;
    double last_tune = tune_at, last_take = take_at;
    FindTime last_note = static_cast<FindTime>(std::lround(take_at)) - (step > 0 ? 1 : -1) * 3;
    int last_key = -1, before = -1;
    reached = static_cast<FindTime>(std::lround(take_at));
    for (std::ptrdiff_t n = static_cast<std::ptrdiff_t>(begin);
         n >= 0 && n < static_cast<std::ptrdiff_t>(tune.size()); n += step) {
      const double gap = rate * (tune[n].at - last_tune);
      const double expected = last_take + gap;
      const double width = 9 + 0.10 * std::abs(gap), reach = 1.6 * width;
      const int key = tune[n].key + shift;
      auto from = std::lower_bound(notes.begin(), notes.end(), expected - reach,
                                   [](const RoledNote& note, double at) { return note.at < at; });
      const RoledNote* best = nullptr;
      float value = kTuneWeights[kTuneMissed];
      Term term = kTuneMissed;
      double best_off = 0;
      if (key == last_key && std::abs(gap) < 25 && kTuneWeights[kTuneTwice] > value)
        value = kTuneWeights[kTuneTwice], term = kTuneTwice;
      for (auto it = from; it != notes.end() && it->at <= expected + reach; ++it) {
        if ((it->at - last_note) * step <= 0) continue;
        const int away = std::abs(it->key - key);
        if (away > 2 || (away != 0 && it->role != Role::kMelody)) continue;
        const Term t = away != 0                   ? kTuneNeighbour
                       : it->role == Role::kMelody ? kInMelody
                       : it->role == Role::kTop    ? kInTop
                                                   : kInner;
        const double off = (it->at - expected) / width;
        const float v = kTuneWeights[t] + kTuneWeights[kOff] * static_cast<float>(off * off);
        if (v > value) value = v, term = t, best = &*it, best_off = off;
      }
      terms[term] += 1;
      if (!best) continue;
      terms[kOff] += static_cast<float>(best_off * best_off);
      if (term != kTuneNeighbour && before >= 0) {
        const int leap = std::abs(tune[n].key - before);
        if (leap > 2) terms[kLeap] += 1;
        if (leap == 0) terms[kStill] += 1;
      }
      // What was passed on the way: one for what was struck together.
      const FindTime low = step > 0 ? last_note : best->at, high = step > 0 ? best->at : last_note;
      FindTime melody_at = -100, top_at = -100;
      auto between = std::upper_bound(notes.begin(), notes.end(), low + 3,
                                      [](FindTime at, const RoledNote& note) { return at < note.at; });
      for (; between != notes.end() && between->at < high - 3; ++between) {
        if (between->role == Role::kMelody && between->at - melody_at > kStruckTogether)
          terms[kPassedMelody] += 1, melody_at = between->at;
        if (between->role == Role::kTop && between->at - top_at > kStruckTogether)
          terms[kPassedTop] += 1, top_at = between->at;
      }
      last_note = best->at;
      last_key = key;
      reached = best->at;
      if (term == kTuneNeighbour) continue;
      before = tune[n].key;
      last_tune = tune[n].at;
      last_take = expected + 0.5 * (best->at - expected);
      const double run = last_tune - anchor_tune;
      if (std::abs(run) > 50)
        rate = std::clamp(0.5 * rate + 0.5 * (best->at - anchor_take) / run, kSlowest, kFastest);
    }
  }
};

}  // namespace

std::vector<RoledNote> roled(const FindPrint& print) {
  std::vector<RoledNote> out;
  out.reserve(print.notes.size());
  std::size_t m = 0, t = 0;
  for (const FindNote& note : print.notes) {
    Role role = Role::kInner;
    while (t < print.top.size() && print.top[t].at + kStruckTogether <= note.at) ++t;
    if (t < print.top.size() && print.top[t].key == note.key) role = Role::kTop;
    while (m < print.melody.size() && print.melody[m].at < note.at - 1) ++m;
    for (std::size_t i = m; i < print.melody.size() && print.melody[i].at <= note.at + 1; ++i)
      if (print.melody[i].key == note.key) role = Role::kMelody;
    out.push_back({note.at, note.key, role});
  }
  return out;
}

TuneFit fit_tune(std::span<const FindNote> tune, std::span<const RoledNote> notes,
                 const FindMapping& mapping) {
  tune = tune.first(std::min(tune.size(), kLongestTune));
  const auto start = static_cast<std::size_t>(
      std::lower_bound(tune.begin(), tune.end(), mapping.tune_at,
                       [](const FindNote& note, FindTime at) { return note.at < at; }) -
      tune.begin());
  TuneFit out;
  Walk walk{tune, notes, mapping.shift, mapping.rate};
  walk.go(start, 1, mapping.tune_at, mapping.take_at);
  out.to = walk.reached;
  const double rate = walk.rate;
  if (start > 0) {
    walk.rate = mapping.rate;
    walk.go(start - 1, -1, mapping.tune_at, mapping.take_at);
    out.from = walk.reached;
  } else {
    out.from = mapping.take_at;
  }
  walk.terms[kTempo] = static_cast<float>(std::abs(std::log(rate)));
  for (std::size_t i = 0; i < kTerms; ++i) out.score += kTuneWeights[i] * walk.terms[i];
  return out;
}

}  // namespace undersong::takes
