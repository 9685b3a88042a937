#include "daemon/song/melody_line.h"

#include <algorithm>

namespace undersong::song {
namespace {

constexpr Micros kNear{60'000};     // between the time a note is heard as melody and the time it was struck
constexpr Micros kBreath{150'000};  // a silence that the ear does not notice

}  // namespace

Micros pedal_until(const std::vector<takes::PedalMove>& pedal, Micros at) {
  const auto after = std::upper_bound(pedal.begin(), pedal.end(), at,
                                      [](Micros t, const takes::PedalMove& move) { return t < move.at; });
  if (after == pedal.begin() || !(after - 1)->down) return at;
  return after == pedal.end() ? Micros::max() : after->at;
}

void as_one_voice(std::vector<takes::PlayedNote>& notes, const std::vector<takes::PedalMove>& pedal) {
  for (std::size_t i = 0; i < notes.size(); ++i) {
    takes::PlayedNote& note = notes[i];
    const Micros next = i + 1 < notes.size() ? notes[i + 1].at : Micros::max();
    if (next != Micros::max() && pedal_until(pedal, note.at + note.length) >= next - kBreath)
      note.length = next - note.at;
    note.length = std::min(note.length, next - note.at);
  }
}

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
    // Skip a note that became melody only later, when a higher note had ended: it was struck too long ago.
    if (!nearest) continue;
    if (!out.empty() && nearest->at <= out.back().at) continue;
    out.push_back(*nearest);
  }
  as_one_voice(out, take.pedal);
  return out;
}

}  // namespace undersong::song
