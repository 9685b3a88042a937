#include "daemon/harmony/harmonicity.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "daemon/harmony/fixed_vector.h"

namespace undersong::harmony {
namespace {

// The simplest ratio within 1.1 % of each interval of 0..11 semitones: 1 16/15 9/8 6/5 5/4 4/3 7/5 3/2 8/5
// 5/3 9/5 15/8.
struct Ratio {
  int over = 1, under = 1;
};
Ratio simplest(int semitones) {
  const double exact = std::exp2(semitones / 12.0);
  for (int under = 1;; ++under) {
    const int over = static_cast<int>(std::lround(exact * under));
    const double made = static_cast<double>(over) / under;
    if (made >= exact * (1 - 0.011) && made <= exact * (1 + 0.011)) return {over, under};
  }
}

// The ratio of an interval: its size in octaves, and how often 2, 3 and 5 divide its denominator (no other
// prime does).
struct Period {
  float octaves = 0;
  std::uint8_t twos = 0, threes = 0, fives = 0;
};

constexpr int kMost = 127;
const std::array<Period, 2 * kMost + 1>& periods() {
  static const std::array<Period, 2 * kMost + 1> kTable = [] {
    std::array<Period, 2 * kMost + 1> out{};
    for (int d = -kMost; d <= kMost; ++d) {
      const int octave = d >= 0 ? d / 12 : -((11 - d) / 12);
      const Ratio ratio = simplest(d - 12 * octave);
      Period& made = out[static_cast<std::size_t>(d + kMost)];
      made.octaves = static_cast<float>(std::log2(static_cast<double>(ratio.over) / ratio.under)) +
                     static_cast<float>(octave);
      int under = ratio.under, over = ratio.over;
      for (; under % 3 == 0; under /= 3) ++made.threes;
      for (; under % 5 == 0; under /= 5) ++made.fives;
      // Octaves first cancel against the other side of the fraction.
      int twos = 0;
      for (; under % 2 == 0; under /= 2) ++twos;
      for (; over % 2 == 0; over /= 2) --twos;
      made.twos = static_cast<std::uint8_t>(std::max(0, twos - octave));
    }
    return out;
  }();
  return kTable;
}

constexpr int kBins = 1200;  // cents in an octave

// The similarity of two tones whose fundamentals stand this many cents apart: the template's circular
// autocorrelation.
std::vector<double> likeness(int harmonics) {
  constexpr double kSpectralSpread = 6.83, kRollOff = 0.75, kPi = 3.14159265358979323846;
  const int reach = static_cast<int>(kSpectralSpread * 12);
  std::vector<double> tone(kBins, 0.0), out(kBins, 0.0);
  for (int n = 1; n <= harmonics; ++n) {
    const int centre = static_cast<int>(std::lround(std::fmod(kBins * std::log2(n), kBins)));
    for (int k = -reach; k <= reach; ++k)
      tone[static_cast<std::size_t>((centre + k + kBins) % kBins)] +=
          std::pow(n, -kRollOff) * std::exp(-0.5 * k * k / (kSpectralSpread * kSpectralSpread)) /
          (kSpectralSpread * std::sqrt(2 * kPi));
  }
  for (std::size_t i = 0; i < kBins; ++i)
    if (tone[i] > 0)
      for (std::size_t k = 0; k < kBins; ++k) out[k] += tone[i] * tone[(i + k) % kBins];
  return out;
}

}  // namespace

float log_periodicity(std::span<const Pitch> keys) {
  FixedVector<int, 16> notes;
  for (Pitch key : keys) notes.push_back(key.value());
  if (notes.empty()) return 0;
  const int lowest = *std::min_element(notes.begin(), notes.end());
  const auto& known = periods();
  float sum = 0;
  for (int reference : notes) {
    int twos = 0, threes = 0, fives = 0;
    for (int note : notes) {
      const Period& period = known[static_cast<std::size_t>(note - reference + kMost)];
      twos = std::max<int>(twos, period.twos);
      threes |= period.threes;  // 0 or 1
      fives |= period.fives;
    }
    constexpr float kLog3 = 1.5849625f, kLog5 = 2.3219281f;
    sum += static_cast<float>(twos) + kLog3 * static_cast<float>(threes) + kLog5 * static_cast<float>(fives) +
           known[static_cast<std::size_t>(lowest - reference + kMost)].octaves;
  }
  return sum / static_cast<float>(notes.size());
}

double harmonicity(PitchClassSet tones, int harmonics) {
  if (tones.empty()) return 0;
  const std::vector<double> alike = likeness(std::clamp(harmonics, 1, 12));
  std::vector<double> profile(kBins, 0.0);
  double total = 0;
  for (int k = 0; k < kBins; ++k)
    for (int tone = 0; tone < 12; ++tone)
      if (tones.contains(PitchClass(tone))) {
        const double value = alike[static_cast<std::size_t>((k - 100 * tone + kBins) % kBins)];
        profile[static_cast<std::size_t>(k)] += value;
        total += value;
      }
  double bits = 0;
  for (double value : profile)
    if (value > 0) bits += value / total * std::log2(value / total * kBins);
  return bits;
}

}  // namespace undersong::harmony
