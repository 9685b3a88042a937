#include "daemon/takes/find_texture.h"

#include <algorithm>
#include <cmath>

namespace undersong::takes {
namespace {

constexpr float kFound = 1.6f, kOffTexture = 0.8f, kMissedNote = 1.0f, kPassedNote = 0.8f;
constexpr double kReachOfTime = 14;  // hundredths of a second around the expected time

struct Sweep {
  std::span<const FindNote> passage, notes;
  int shift;
  double rate;
  std::vector<std::uint8_t>& used;  // by place in `notes`, from `first_used`
  std::size_t first_used;
  TextureFit& out;
  FindTime reached = 0;

  void go(std::size_t begin, int step, double passage_at, double take_at) {
    const double anchor_passage = passage_at, anchor_take = take_at;
    double last_passage = passage_at, last_take = take_at;
    reached = static_cast<FindTime>(std::lround(take_at));
    for (std::ptrdiff_t n = static_cast<std::ptrdiff_t>(begin);
         n >= 0 && n < static_cast<std::ptrdiff_t>(passage.size()); n += step) {
      const double expected = last_take + rate * (passage[n].at - last_passage);
      const int key = passage[n].key + shift;
      auto it = std::lower_bound(notes.begin(), notes.end(), expected - kReachOfTime,
                                 [](const FindNote& note, double at) { return note.at < at; });
      double best = kReachOfTime;
      auto taken = notes.end();
      for (; it != notes.end() && it->at <= expected + kReachOfTime; ++it) {
        const auto place = static_cast<std::size_t>(it - notes.begin()) - first_used;
        if (it->key != key || place >= used.size() || used[place]) continue;
        if (const double off = std::abs(it->at - expected); off < best) best = off, taken = it;
      }
      if (taken == notes.end()) {
        ++out.missed;
        continue;
      }
      used[static_cast<std::size_t>(taken - notes.begin()) - first_used] = 1;
      ++out.found;
      out.off += static_cast<float>(best * best / (kReachOfTime * kReachOfTime));
      reached = step > 0 ? std::max(reached, taken->at) : std::min(reached, taken->at);
      last_passage = passage[n].at;
      last_take = expected + 0.2 * (taken->at - expected);
      const double run = last_passage - anchor_passage;
      if (std::abs(run) > 60)
        rate = std::clamp(0.9 * rate + 0.1 * (taken->at - anchor_take) / run, kSlowest, kFastest);
    }
  }
};

}  // namespace

TextureFit fit_texture(std::span<const FindNote> passage, std::span<const FindNote> notes,
                       const FindMapping& mapping) {
  passage = passage.first(std::min(passage.size(), kLongestPassage));
  TextureFit out;
  if (passage.empty() || notes.empty()) return out;
  const auto by_time = [](const FindNote& note, double at) { return note.at < at; };
  const auto start = static_cast<std::size_t>(
      std::lower_bound(passage.begin(), passage.end(), mapping.tune_at, by_time) - passage.begin());
  // Room for a tempo that bends.
  const double before = mapping.tune_at - passage.front().at, after = passage.back().at - mapping.tune_at;
  const auto low =
                 std::lower_bound(notes.begin(), notes.end(),
                                  mapping.take_at - 1.5 * mapping.rate * before - 2 * kReachOfTime, by_time),
             high = std::lower_bound(
                 low, notes.end(), mapping.take_at + 1.5 * mapping.rate * after + 2 * kReachOfTime, by_time);
  std::vector<std::uint8_t> used(static_cast<std::size_t>(high - low));
  Sweep sweep{
      passage, notes, mapping.shift, mapping.rate, used, static_cast<std::size_t>(low - notes.begin()), out};
  sweep.go(start, 1, mapping.tune_at, mapping.take_at);
  out.to = sweep.reached;
  out.from = mapping.take_at;
  if (start > 0) {
    sweep.rate = mapping.rate;
    sweep.go(start - 1, -1, mapping.tune_at, mapping.take_at);
    out.from = std::min(out.from, sweep.reached);
  }
  for (auto it = low; it != high; ++it)
    if (it->at >= out.from - 2 && it->at <= out.to + 2 && !used[static_cast<std::size_t>(it - low)])
      ++out.passed;
  out.score = kFound * static_cast<float>(out.found) - kOffTexture * out.off -
              kMissedNote * static_cast<float>(out.missed) - kPassedNote * static_cast<float>(out.passed);
  return out;
}

}  // namespace undersong::takes
