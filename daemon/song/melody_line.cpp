#include "daemon/song/melody_line.h"

#include <algorithm>

namespace undersong::song {
namespace {

constexpr Micros kNear{60'000};     // from where a note is heard as melody to its stroke
constexpr Micros kBreath{150'000};  // silence that the ear closes

// Until when the pedal carries what sounds at `at`.
Micros carried(const std::vector<takes::PedalMove>& pedal, Micros at) {
  const auto after = std::upper_bound(pedal.begin(), pedal.end(), at,
                                      [](Micros t, const takes::PedalMove& move) { return t < move.at; });
  if (after == pedal.begin() || !(after - 1)->down) return at;
  return after == pedal.end() ? Micros::max() : after->at;
}

}  // namespace

std::vector<takes::PlayedNote> melody_line(const takes::HeardTake& take) {
  std::vector<takes::PlayedNote> out;
  for (const takes::HeardNote& heard : take.melody) {
    auto it = std::lower_bound(take.notes.begin(), take.notes.end(), heard.at - kNear,
                               [](const takes::PlayedNote& n, Micros t) { return n.at < t; });
    const takes::PlayedNote* nearest = nullptr;
    for (; it != take.notes.end() && it->at <= heard.at + kNear; ++it)
      if (it->pitch == heard.pitch &&
          (!nearest || std::chrono::abs(it->at - heard.at) < std::chrono::abs(nearest->at - heard.at)))
        nearest = &*it;
    // A note may be heard as melody only later, when what lay above it has gone: then its stroke lies further
    // back.
    if (!nearest) continue;
    if (!out.empty() && nearest->at <= out.back().at) continue;
    out.push_back(*nearest);
  }
  for (std::size_t i = 0; i < out.size(); ++i) {
    takes::PlayedNote& note = out[i];
    const Micros next = i + 1 < out.size() ? out[i + 1].at : Micros::max();
    if (next != Micros::max() && carried(take.pedal, note.at + note.length) >= next - kBreath)
      note.length = next - note.at;
    note.length = std::min(note.length, next - note.at);
  }
  return out;
}

}  // namespace undersong::song
