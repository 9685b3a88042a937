#include "daemon/harmony/feel.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

constexpr float kMemoryOfStrikes = .992f;  // of each strike; about 120 count
constexpr float kEnough = 6;               // strikes between beats that it takes to say anything
constexpr float kCompound = 2;             // thirds against halves and quarters
constexpr float kBoth = .3f;               // first thirds against second thirds: a shuffle has few
constexpr float kLeastSwing = 1.2f;
constexpr double kLongestEighth = .34;  // seconds: slower fives and sevens are counted in quarters

}  // namespace

void Feel::strike(float place) {
  if (!(place >= 0 && place < 1)) return;
  for (float& x : struck_) x *= kMemoryOfStrikes;
  struck_[static_cast<std::size_t>(std::lround(place * kPlaces)) % kPlaces] += 1;
}

FeelNow Feel::now() const {
  FeelNow out;
  // Bins around each 24th: sums from the first to the last, both included.
  const auto sum = [&](std::size_t first, std::size_t last) {
    float all = 0;
    for (std::size_t k = first; k <= last; ++k) all += struck_[k];
    return all;
  };
  const float inside = sum(3, 21);
  if (inside < kEnough) return out;
  const float third = sum(7, 9), second_third = sum(15, 17);
  const float halves = sum(11, 13), quarters = sum(5, 6) + sum(18, 19);
  if (third + second_third > kCompound * (halves + quarters) && third > kBoth * second_third) {
    out.division = 3;
    return out;
  }
  // The second of two parts: the mean place of strikes in the middle of the beat.
  float mass = 0, mean = 0;
  for (std::size_t k = 10; k <= 18; ++k)
    mass += struck_[k], mean += struck_[k] * static_cast<float>(k) / static_cast<float>(kPlaces);
  const float first_quarters = sum(5, 6);
  if (mass < kEnough / 2 || first_quarters > .4f * mass) return out;
  mean /= mass;
  const float swing = mean / (1 - mean);
  if (swing >= kLeastSwing) out.swing = std::min(3.f, std::round(swing * 10) / 10);
  return out;
}

TimeSignature time_signature(int beats, int division, double seconds_a_beat) {
  if (division == 3) return {3 * beats, 8};
  if ((beats == 5 || beats == 7) && seconds_a_beat < kLongestEighth) return {beats, 8};
  return {beats, 4};
}

}  // namespace undersong::harmony
