#include "daemon/harmony/ear_tonality.h"

#include <algorithm>
#include <cmath>

#include "daemon/harmony/ear_scale.h"

namespace undersong::harmony {
namespace {

constexpr float kPitchSeconds[4] = {4.0F, 15.0F, 60.0F, 240.0F};
constexpr float kBassSeconds[2] = {15.0F, 240.0F};
constexpr float kChordSeconds[2] = {12.0F, 240.0F};
constexpr float kArrivalSeconds = 120.0F;
constexpr float kTuneSeconds[2] = {20.0F, 240.0F};
constexpr float kOpeningSeconds = 4.0F;  // seconds; the first chords often tell the key
constexpr float kLongNote = 0.6F;        // seconds after which a melody note counts as a resting point

// Major, minor, dominant or diminished, for each class of kEarClassText.
constexpr int kGroup[kEarClasses] = {0, 1, 3, 0, 0, 2, 0, 0, 1, 2, 0, 1, 1, 3, 3, 2, 2, 2};

}  // namespace

void EarTonality::fade(Micros t) {
  if (t <= now_) return;
  const float dt = seconds(t - now_);
  now_ = t;
  for (std::size_t k = 0; k < 4; ++k) scale(pitches_[k], std::exp(-dt / kPitchSeconds[k]));
  for (std::size_t k = 0; k < 2; ++k) {
    scale(basses_[k], std::exp(-dt / kBassSeconds[k]));
    for (Row& row : chords_[k]) scale(row, std::exp(-dt / kChordSeconds[k]));
  }
  scale(arrivals_, std::exp(-dt / kArrivalSeconds));
  scale(rests_, std::exp(-dt / kArrivalSeconds));
  for (std::size_t k = 0; k < 2; ++k) scale(tune_[k], std::exp(-dt / kTuneSeconds[k]));
}

void EarTonality::note_on(Micros t, Pitch p, Velocity v, bool is_bass) {
  fade(t);
  if (!started_) started_ = true, first_ = now_, heard_ = now_;
  const auto pc = static_cast<std::size_t>(p.pitch_class().value());
  const float w = 0.3F + 0.7F * static_cast<float>(v.value()) / 64.0F;
  for (Row& row : pitches_) row[pc] += w;
  if (is_bass)
    for (Row& row : basses_) row[pc] += w;
}

void EarTonality::sing(Micros onset, Pitch p) {
  sung_ = p.pitch_class().value();
  sung_at_ = onset;
}

bool EarTonality::hear(Micros t, const std::array<float, 12 * kEarClasses>& scores) {
  fade(t);
  if (!started_) return false;
  const float dt = std::clamp(seconds(now_ - heard_), 0.0F, 4.0F);
  heard_ = now_;
  if (sung_ >= 0 && now_ - sung_at_ < Micros{3'000'000}) {
    const auto pc = static_cast<std::size_t>(sung_);
    for (Row& row : tune_) row[pc] += dt;
    if (seconds(now_ - sung_at_) > kLongNote) rests_[pc] += dt;
  }
  Row roots{};
  KeyChords kinds{};
  for (std::size_t r = 0; r < 12; ++r)
    for (std::size_t c = 0; c < kEarClasses; ++c) {
      const float s = scores[r * kEarClasses + c];
      if (s < -5.0F) continue;
      const float p = std::exp(s);
      roots[r] += p;
      kinds[static_cast<std::size_t>(kGroup[c])][r] += p;
      for (auto& span : chords_) span[static_cast<std::size_t>(kGroup[c])][r] += p * dt;
    }
  for (std::size_t r = 0; r < 12; ++r) {
    if (seconds(now_ - first_) < kOpeningSeconds) opening_[r] += roots[r] * dt;
    // A root that falls by a fifth, counted at its arrival.
    arrivals_[r] += roots[r] * previous_roots_[(r + 7) % 12];
    previous_roots_[r] += std::min(1.0F, 2.0F * dt) * (roots[r] - previous_roots_[r]);
  }

  auto put = [this](std::size_t row, const Row& values, float by) {
    for (std::size_t p = 0; p < 12; ++p) x_[row * 12 + p] = values[p] * by;
  };
  auto sum = [](const Row& row) {
    float s = 0.0F;
    for (const float x : row) s += x;
    return s;
  };
  for (std::size_t k = 0; k < 4; ++k) put(k, pitches_[k], 3.0F / (sum(pitches_[k]) + 0.5F));
  for (std::size_t k = 0; k < 2; ++k) put(4 + k, basses_[k], 3.0F / (sum(basses_[k]) + 0.5F));
  for (std::size_t k = 0; k < 2; ++k) {
    float total = 0.1F;
    for (const Row& row : chords_[k]) total += sum(row);
    for (std::size_t g = 0; g < 4; ++g) put(6 + 4 * k + g, chords_[k][g], 3.0F / total);
  }
  put(14, arrivals_, 3.0F / (sum(arrivals_) + 0.3F));
  for (std::size_t k = 0; k < 2; ++k) put(15 + k, tune_[k], 3.0F / (sum(tune_[k]) + 0.5F));
  put(17, rests_, 3.0F / (sum(rests_) + 0.5F));
  put(18, opening_, 3.0F / (sum(opening_) + 0.5F));
  x_[KeyNet::kRows * 12] = std::log2(1.0F + seconds(now_ - first_)) * 0.15F;
  x_[KeyNet::kRows * 12 + 1] = std::min(sum(pitches_[0]), 40.0F) / 20.0F;
  net_.update(x_, belief_);

  return hold_.judge(kinds, dt, belief_);
}

std::optional<EarKeyReading> EarTonality::reading() const {
  const int key = hold_.key();
  if (key < 0) return std::nullopt;
  return EarKeyReading{PitchClass(key % 12), key >= 12, std::exp(belief_[static_cast<std::size_t>(key)])};
}

}  // namespace undersong::harmony
