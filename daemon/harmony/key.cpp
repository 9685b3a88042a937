#include "daemon/harmony/key.h"

#include <cmath>

namespace undersong::harmony {

int signature(Key key) {
  const int major_tonic = key.mode == Mode::kMajor ? key.tonic.value() : key.tonic.value() + 3;
  // Major tonics spelled within Gb..B; E flat minor rather than D sharp minor follows from it.
  return spell_within(PitchClass(major_tonic), -6).fifths();
}

NoteName tonic_name(Key key) {
  return NoteName(signature(key) + (key.mode == Mode::kMajor ? 0 : 3));
}

std::string text(Key key) { return text(tonic_name(key)) + (key.mode == Mode::kMajor ? " major" : " minor"); }
std::string harte(Key key) { return text(tonic_name(key)) + (key.mode == Mode::kMajor ? ":maj" : ":min"); }

double profile_correlation(const std::array<double, 12>& weights, Key key) {
  const auto& profile = key.mode == Mode::kMajor ? kMajorProfile : kMinorProfile;
  double mean_w = 0, mean_p = 0;
  for (std::size_t i = 0; i < 12; ++i) mean_w += weights[i] / 12, mean_p += profile[i] / 12;
  double wp = 0, ww = 0, pp = 0;
  for (std::size_t i = 0; i < 12; ++i) {
    const double w = weights[(i + static_cast<std::size_t>(key.tonic.value())) % 12] - mean_w, p = profile[i] - mean_p;
    wp += w * p;
    ww += w * w;
    pp += p * p;
  }
  return ww < 1e-12 ? 0 : wp / std::sqrt(ww * pp);
}

std::optional<KeyReading> best_key(const std::array<double, 12>& weights) {
  std::optional<KeyReading> best;
  double first = -2, second = -2;
  for (int i = 0; i < 24; ++i) {
    const Key key{PitchClass(i % 12), i < 12 ? Mode::kMajor : Mode::kMinor};
    const double r = profile_correlation(weights, key);
    if (r > first) {
      second = first;
      first = r;
      best = KeyReading{key, 0};
    } else if (r > second) {
      second = r;
    }
  }
  if (first <= 0) return std::nullopt;
  best->confidence = static_cast<float>(std::min(1.0, std::max(0.0, 0.5 * first + 2.5 * (first - second))));
  return best;
}

}  // namespace undersong::harmony
