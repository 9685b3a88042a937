#include "daemon/song/comping.h"

#include <algorithm>
#include <cstdlib>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::song {
namespace {

constexpr int kLowest = 48, kHighest = 76, kMiddle = 61;
constexpr std::size_t kMost = 5;

// The tones in semitones above the root. If there are too many, inessential ones are left out.
std::vector<int> close_tones(const harmony::Chord& chord) {
  const harmony::QualityRow& row = harmony::row(chord.quality);
  std::vector<int> out, spare;
  for (const harmony::Degree degree : row.degrees) {
    const int tone = harmony::pitch_class_offset(degree);
    (row.essential.contains(PitchClass(tone)) ? out : spare).push_back(tone);
  }
  for (const int tone : spare)
    if (out.size() < kMost) out.push_back(tone);
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  while (out.size() > kMost) out.pop_back();
  return out;
}

int way(const std::vector<Pitch>& before, const std::vector<Pitch>& after) {
  int sum = 0;
  const auto nearest = [](const std::vector<Pitch>& among, Pitch to) {
    int best = 128;
    for (const Pitch p : among) best = std::min(best, std::abs(p.value() - to.value()));
    return best;
  };
  for (const Pitch p : after) sum += nearest(before, p);
  for (const Pitch p : before) sum += nearest(after, p);
  return sum;
}

}  // namespace

std::vector<std::vector<Pitch>> close_chords(std::span<const harmony::Chord> chords) {
  std::vector<std::vector<Pitch>> out;
  for (const harmony::Chord& chord : chords) {
    const auto tones = close_tones(chord);
    std::vector<Pitch> best;
    int least = 0;
    for (int root = kLowest - 12 + (chord.root.value() - kLowest % 12 + 12) % 12; root <= kHighest;
         root += 12)
      for (std::size_t turn = 0; turn < tones.size(); ++turn) {
        std::vector<Pitch> keys;
        for (std::size_t i = 0; i < tones.size(); ++i) {
          const std::size_t k = turn + i;
          keys.emplace_back(root + tones[k % tones.size()] + (k >= tones.size() ? 12 : 0));
        }
        if (keys.front() < Pitch(kLowest) || keys.back() > Pitch(kHighest)) continue;
        const int off = std::abs(keys.front().value() + keys.back().value() - 2 * kMiddle);
        const int price = out.empty() ? 4 * off : 4 * way(out.back(), keys) + off;
        if (best.empty() || price < least) best = std::move(keys), least = price;
      }
    out.push_back(std::move(best));
  }
  return out;
}

}  // namespace undersong::song
