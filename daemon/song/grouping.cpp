#include "daemon/song/grouping.h"

#include <array>
#include <cmath>

namespace undersong::song {
namespace {

constexpr std::size_t kMostBeats = 16;
constexpr std::size_t kEnough = 12;  // notes that it takes to say anything
constexpr int kLow = 52;             // E3: a low note counts twice

}  // namespace

std::uint16_t groups_played(const std::vector<takes::PlayedNote>& notes, const Bars& bars) {
  if (bars.beat != BeatValue::kEighth || (bars.meter != 5 && bars.meter != 7)) return 0;
  std::array<double, kMostBeats> struck{};
  std::size_t count = 0;
  for (const takes::PlayedNote& note : notes) {
    const double beat = bars.map.beats_at(note.at);
    if (std::abs(beat - std::round(beat)) > .3 || beat < -.3) continue;
    const Ticks at(480 * std::llround(beat));
    const Bar& bar = bars.bars[bars.bar_at(at)];
    const auto place = static_cast<std::size_t>((at - bar.at) / kBeat);
    if (bar.beats != bars.meter || place >= struck.size()) continue;
    struck[place] += note.velocity.value() * (note.pitch.value() < kLow ? 2 : 1);
    ++count;
  }
  if (count < kEnough) return 0;
  // One group of three among twos; the later one among equals.
  std::uint16_t best = 0;
  double most = -1;
  for (int three = bars.meter - 3; three >= 0; three -= 2) {
    std::uint16_t groups = 0;
    double sum = 0;
    for (int beat = 0; beat < bars.meter; beat += beat == three ? 3 : 2) {
      groups = static_cast<std::uint16_t>(groups | 1U << beat);
      sum += struck[static_cast<std::size_t>(beat)];
    }
    if (sum > most) most = sum, best = groups;
  }
  return best;
}

}  // namespace undersong::song
