#include "daemon/harmony/evidence.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

// Seconds to fall to 1/e while the damper is up, and after it has come down.
float ringing_time(std::size_t key) { return 3.5f * std::exp2(-(static_cast<float>(key) - 36) / 24); }
constexpr float kDampedTime = 0.12f;
constexpr float kInaudible = 0.01f;

}  // namespace

float Evidence::now(std::size_t key, Micros at) const {
  const String& string = strings_[key];
  if (string.loudness < kInaudible) return 0;
  const float seconds = std::chrono::duration<float>(at - string.at).count();
  return string.loudness * std::exp(-std::max(0.0f, seconds) / (string.damped ? kDampedTime : ringing_time(key)));
}

void Evidence::strike(Micros at, Pitch pitch, Velocity velocity) {
  strings_[static_cast<std::size_t>(pitch.value())] = {0.35f + 0.65f * static_cast<float>(velocity.value()) / 127, at, false};
}

void Evidence::damp(Micros at, Pitch pitch) {
  const auto key = static_cast<std::size_t>(pitch.value());
  strings_[key] = {now(key, at), at, true};
}

void Evidence::silence(Micros at) {
  for (int key = 0; key < 128; ++key) damp(at, Pitch(key));
}

std::array<float, 12> Evidence::weights(Micros at) const {
  std::array<float, 12> out{};
  for (std::size_t key = 0; key < 128; ++key) out[key % 12] += now(key, at);
  return out;
}

std::array<bool, 128> Evidence::ringing(Micros at, float floor) const {
  std::array<float, 128> loud{};
  float loudest = 0;
  for (std::size_t key = 0; key < 128; ++key) loudest = std::max(loudest, loud[key] = now(key, at));
  std::array<bool, 128> out{};
  for (std::size_t key = 0; key < 128; ++key) out[key] = loud[key] > kInaudible && loud[key] >= floor * loudest;
  return out;
}

std::optional<Pitch> Evidence::bass(Micros at, float floor) const {
  const auto rings = ringing(at, floor);
  const auto first = std::find(rings.begin(), rings.end(), true);
  if (first == rings.end()) return std::nullopt;
  return Pitch(static_cast<int>(first - rings.begin()));
}

}  // namespace undersong::harmony
