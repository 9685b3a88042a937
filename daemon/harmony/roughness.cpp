#include "daemon/harmony/roughness.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "daemon/harmony/fixed_vector.h"

namespace undersong::harmony {
namespace {

constexpr int kHarmonics = 11;

struct Partial {
  double key = 0;  // fractional MIDI key number
  double hertz = 0;
  double energy = 0;  // squared amplitude
};
using Partials = FixedVector<Partial, kMostKeysHeard * kHarmonics>;

double interval_of(int harmonic) {
  static const std::array<double, kHarmonics + 1> kIntervals = [] {
    std::array<double, kHarmonics + 1> out{};
    for (int n = 1; n <= kHarmonics; ++n) out[static_cast<std::size_t>(n)] = 12 * std::log2(n);
    return out;
  }();
  return kIntervals[static_cast<std::size_t>(harmonic)];
}

double hertz(double key) {
  return 440 * std::exp2((key - 69) / 12);
}

// The partials of all tones in ascending order; partials that coincide become one.
Partials spectrum(std::span<const Pitch> keys, int harmonics) {
  Partials all;
  for (Pitch key : keys)
    for (int n = 1; n <= harmonics; ++n) {
      const double at = key.value() + interval_of(n);
      all.push_back({at, hertz(at), 1.0 / (n * n)});
    }
  std::sort(all.begin(), all.end(), [](const Partial& a, const Partial& b) { return a.key < b.key; });
  Partials out;
  for (const Partial& partial : all) {
    if (!out.empty() && partial.key - out.back().key < 1e-6) {
      out.back().energy += partial.energy;
    } else {
      out.push_back(partial);
    }
  }
  return out;
}

// The beating of all pairs of partials, not divided by the energy.
double beating(const Partials& partials) {
  double sum = 0;
  for (std::size_t i = 0; i < partials.size(); ++i)
    for (std::size_t j = i + 1; j < partials.size(); ++j) {
      const double apart = partials[j].hertz - partials[i].hertz;
      const double width = 1.72 * std::pow((partials[i].hertz + partials[j].hertz) / 2, 0.65);
      const double y = apart / width;
      if (y > 1.2) break;  // y grows with j
      const double curve = y / 0.25 * std::exp(1 - y / 0.25);
      sum += std::sqrt(partials[i].energy * partials[j].energy) * curve * curve;
    }
  return sum;
}

// From A0 to C8; other keys count as the nearer end.
constexpr int kLowestKey = 21, kHighestKey = 108, kKeys = kHighestKey - kLowestKey + 1;

struct PairTable {
  std::vector<float> values = std::vector<float>(static_cast<std::size_t>(kKeys) * kKeys, 0.0f);

  PairTable() {
    std::array<double, kKeys> own{};
    for (int i = 0; i < kKeys; ++i) {
      const std::array<Pitch, 1> one{Pitch(kLowestKey + i)};
      own[static_cast<std::size_t>(i)] = beating(spectrum(one, kHarmonics));
    }
    for (int i = 0; i < kKeys; ++i)
      for (int j = 0; j < i; ++j) {
        const std::array<Pitch, 2> two{Pitch(kLowestKey + j), Pitch(kLowestKey + i)};
        const auto a = static_cast<std::size_t>(i), b = static_cast<std::size_t>(j);
        const double value = beating(spectrum(two, kHarmonics)) - own[a] - own[b];
        values[a * kKeys + b] = values[b * kKeys + a] = static_cast<float>(value);
      }
  }
};

const PairTable& pair_table() {
  static const PairTable kTable;
  return kTable;
}
std::size_t place_of_key(Pitch key) {
  return static_cast<std::size_t>(std::clamp(key.value(), kLowestKey, kHighestKey) - kLowestKey);
}

}  // namespace

double roughness(std::span<const Pitch> keys, int harmonics) {
  FixedVector<Pitch, kMostKeysHeard> different;
  for (Pitch key : keys)
    if (std::find(different.begin(), different.end(), key) == different.end()) different.push_back(key);
  const Partials partials =
      spectrum({different.begin(), different.size()}, std::clamp(harmonics, 1, kHarmonics));
  double energy = 0;
  for (const Partial& partial : partials) energy += partial.energy;
  return energy > 0 ? beating(partials) / energy : 0;
}

float pair_roughness(Pitch a, Pitch b) {
  return pair_table().values[place_of_key(a) * kKeys + place_of_key(b)];
}

PairRoughness pair_roughness(std::span<const Pitch> keys) {
  if (keys.size() < 2) return {};
  const float* const values = pair_table().values.data();
  float sum = 0, worst = -1e9f;
  for (std::size_t i = 1; i < keys.size(); ++i) {
    const float* const row = values + place_of_key(keys[i]) * kKeys;
    for (std::size_t j = 0; j < i; ++j) {
      const float pair = row[place_of_key(keys[j])];
      sum += pair;
      worst = std::max(worst, pair);
    }
  }
  const std::size_t pairs = keys.size() * (keys.size() - 1) / 2;
  return {sum / static_cast<float>(pairs), worst};
}

}  // namespace undersong::harmony
