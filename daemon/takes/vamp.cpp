#include "daemon/takes/vamp.h"

#include <algorithm>

namespace undersong::takes {
namespace {

constexpr std::size_t kFewestBarsOfVamp = 6;
constexpr double kShortestVamp = 9;  // seconds
constexpr double kPassing = .8;      // seconds; a shorter segment on another root may pass by
constexpr double kSameNotes = .82;   // another root whose notes are this much the same is the same chord
constexpr double kRestruck = .8;     // share of the bars in which it is struck anew
constexpr Micros kSlack{80'000};
constexpr int kMelodyFrom = 67;  // from G4 on notes may be melody

// Where the bars begin from `from` to `to`; without a pulse, where the chord is stated anew.
std::vector<Micros> bars_between(const HeardTake& take, const Beats& beats, Micros from, Micros to) {
  std::vector<Micros> out;
  if (beats.pulse()) {
    for (const Beat& beat : beats.beats)
      if (beat.downbeat && beat.at >= from - kSlack && beat.at < to - kSlack) out.push_back(beat.at);
    if (!out.empty()) {
      // The last bar is as long as the others, or until the chord ends.
      const Micros usual =
          out.size() > 1 ? (out.back() - out.front()) / static_cast<int>(out.size() - 1) : to - out.back();
      if (to - out.back() < usual * 6 / 10 && out.size() > 1) return out;
      out.push_back(std::min(to, out.back() + usual));
    }
    return out;
  }
  for (const ChordSpan& span : take.spans)
    if (span.begin >= from - kSlack && span.begin < to - kSlack) out.push_back(span.begin);
  out.push_back(to);
  return out;
}

}  // namespace

namespace {

// How many of the lower notes of two bars have the same pitch in the same place, 0..1.
double sounding_agreement(const HeardTake& take, Micros a, Micros b, Micros length) {
  constexpr Micros kSameStrike{110'000};
  const auto part = [&](Micros from) {
    std::vector<std::pair<Micros, int>> out;
    auto it = std::lower_bound(take.notes.begin(), take.notes.end(), from - kSlack,
                               [](const PlayedNote& n, Micros t) { return n.at < t; });
    for (; it != take.notes.end() && it->at < from + length - kSlack; ++it)
      if (it->pitch.value() < kMelodyFrom) out.emplace_back(it->at - from, it->pitch.value());
    return out;
  };
  const auto one = part(a);
  auto other = part(b);
  const std::size_t both = one.size() + other.size();
  if (both == 0) return 0;
  std::size_t hits = 0;
  for (const auto& note : one) {
    const auto same = std::find_if(other.begin(), other.end(), [&](const auto& n) {
      return n.second == note.second && std::chrono::abs(n.first - note.first) < kSameStrike;
    });
    if (same != other.end()) other.erase(same), ++hits;
  }
  return 2. * static_cast<double>(hits) / static_cast<double>(both);
}

}  // namespace

std::optional<Vamp> find_vamp(const HeardTake& take, const Beats& beats, const std::vector<Segment>& segments,
                              const std::vector<bool>& usable) {
  std::optional<Vamp> best;
  double longest = kShortestVamp;
  for (std::size_t i = 0; i < segments.size(); ++i) {
    if (!usable[i]) continue;
    const Segment& one = segments[i];
    double own = 0, all = 0;
    std::size_t last = i;
    double own_last = 0, all_last = 0;
    for (std::size_t j = i; j < segments.size() && usable[j]; ++j) {
      const Segment& next = segments[j];
      const bool same = next.root == one.root || likeness(one.profile, next.profile) >= kSameNotes;
      if (!same && next.length() > kPassing) break;
      all += next.length();
      if (same) own += next.length(), last = j, own_last = own, all_last = all;
    }
    if (own_last > longest && own_last >= .9 * all_last) {
      longest = own_last;
      best = Vamp{i, last, one.root, {}, own_last / all_last};
    }
  }
  if (!best) return best;
  best->begins = bars_between(take, beats, segments[best->first].begin, segments[best->last].end);
  if (best->begins.size() < kFewestBarsOfVamp + 1) return std::nullopt;
  // A chord that is only held is no vamp.
  std::size_t struck = 0;
  for (std::size_t b = 0; b + 1 < best->begins.size(); ++b) {
    const auto note = std::lower_bound(take.notes.begin(), take.notes.end(), best->begins[b] - kSlack,
                                       [](const PlayedNote& n, Micros t) { return n.at < t; });
    int low = 0;
    for (auto it = note; it != take.notes.end() && it->at < best->begins[b + 1] - kSlack; ++it)
      low += it->pitch.value() < kMelodyFrom;
    struck += low > 0;
  }
  for (std::size_t b = 0; b + 2 < best->begins.size(); ++b)
    best->regular += sounding_agreement(take, best->begins[b], best->begins[b + 1],
                                        best->begins[b + 1] - best->begins[b]) /
                     static_cast<double>(best->begins.size() - 2);
  if (static_cast<double>(struck) < kRestruck * static_cast<double>(best->begins.size() - 1))
    return std::nullopt;
  return best;
}

}  // namespace undersong::takes
