#include "daemon/harmony/ear_features.h"

#include <algorithm>
#include <cmath>

#include "daemon/harmony/ear_scale.h"

namespace undersong::harmony {
namespace {

constexpr float kOnsetSeconds[3] = {0.10F, 0.5F, 1.5F};
constexpr float kHistorySeconds[2] = {6.0F, 25.0F};
constexpr float kBassNowSeconds[2] = {0.4F, 1.5F};
constexpr float kBassHistorySeconds = 10.0F;
constexpr float kTopSeconds = 0.3F;
constexpr float kLongest = 30;  // seconds
constexpr float kHeldSeconds[2] = {0.6F, 2.5F};

float squash(float x) {
  return x / (x + 0.5F);
}

// Overlapping registers: bass below about E3, melody above about E4.
void registers(int pitch, float (&w)[3]) {
  w[0] = std::clamp(static_cast<float>(54 - pitch) / 12.0F, 0.0F, 1.0F);
  w[2] = std::clamp(static_cast<float>(pitch - 58) / 12.0F, 0.0F, 1.0F);
  w[1] = 1.0F - w[0] - w[2];
}

}  // namespace

void EarFeatures::advance(Micros t) {
  if (t <= now_) return;
  const float dt = seconds(t - now_);
  now_ = t;
  for (std::size_t k = 0; k < 3; ++k) {
    const float f = std::exp(-dt / kOnsetSeconds[k]);
    for (Row& row : onset_[k]) scale(row, f);
  }
  for (std::size_t k = 0; k < 2; ++k) {
    scale(history_[k], std::exp(-dt / kHistorySeconds[k]));
    scale(bass_[k], std::exp(-dt / kBassNowSeconds[k]));
    const float f = std::exp(-dt / kHeldSeconds[k]);
    for (std::size_t pc = 0; pc < 12; ++pc)
      held_time_[k][pc] = held_time_[k][pc] * f + (down_count_[pc] > 0 ? 1.0F - f : 0.0F);
  }
  scale(bass_history_, std::exp(-dt / kBassHistorySeconds));
  scale(top_, std::exp(-dt / kTopSeconds));
  density_ *= std::exp(-dt);
}

bool EarFeatures::note_on(Micros t, Pitch p, Velocity v) {
  advance(t);
  const int pitch = p.value();
  const auto pc = static_cast<std::size_t>(p.pitch_class().value());
  const bool opens = now_ - last_on_ > kClusterGap || now_ - cluster_start_ > kClusterSpan;
  if (opens) {
    previous_cluster_ = cluster_start_;
    cluster_start_ = now_;
    cluster_size_ = 0;
    cluster_low_ = 127;
    cluster_high_ = 0;
    cluster_velocity_ = 0;
    cluster_has_bass_ = false;
  }
  last_on_ = now_;
  // A bass note is the lowest key held, or low enough to be a bass note by itself.
  bool lowest = pitch < 60;
  for (int q = 0; q < pitch && lowest; ++q) lowest = !keys_[static_cast<std::size_t>(q)].down;
  const bool is_bass = lowest || pitch < 45;

  EarKey& key = keys_[static_cast<std::size_t>(pitch)];
  if (!key.down) ++down_count_[pc];
  const float loud = static_cast<float>(v.value());
  mean_velocity_ += 0.02F * (loud - mean_velocity_);
  key = {true, true, now_, std::clamp(0.25F + 0.75F * loud / std::max(mean_velocity_, 20.0F), 0.3F, 1.6F),
         v.value()};

  ++cluster_size_;
  cluster_velocity_ = std::max(cluster_velocity_, v.value());
  cluster_low_ = std::min(cluster_low_, pitch);
  if (pitch > cluster_high_) cluster_high_ = pitch;
  float w[3];
  registers(pitch, w);
  for (std::size_t k = 0; k < 3; ++k)
    for (std::size_t r = 0; r < 3; ++r) onset_[k][r][pc] += w[r] * key.weight;
  for (Row& row : history_) row[pc] += key.weight;
  if (pitch == cluster_high_) top_[pc] += key.weight;
  if (is_bass) {
    // Only the lowest bass note of a cluster counts: one struck a moment later below it replaces it.
    for (Row& row : bass_) {
      if (cluster_has_bass_) scale(row, 0.5F);
      row[pc] += key.weight;
    }
    bass_history_[pc] += key.weight;
    if (!cluster_has_bass_) {
      bass_before_ = bass_at_;
      bass_at_ = now_;
      bass_pitch_before_ = bass_pitch_;
    }
    bass_pitch_ = pitch;
    cluster_has_bass_ = true;
  }
  density_ += 1.0F;
  return opens;
}

void EarFeatures::note_off(Micros t, Pitch p) {
  advance(t);
  EarKey& key = keys_[static_cast<std::size_t>(p.value())];
  if (!key.down) return;
  key.down = false;
  key.sounding = pedal_;
  --down_count_[static_cast<std::size_t>(p.pitch_class().value())];
}

void EarFeatures::pedal(Micros t, bool down) {
  advance(t);
  if (pedal_ == down) return;
  pedal_ = down;
  pedal_at_ = now_;
  if (!down)
    for (EarKey& key : keys_) key.sounding = key.down;
}

int EarFeatures::sounding_bass() const {
  int found = -1;
  for (int p = 0; p < 128; ++p) {
    const EarKey& key = keys_[static_cast<std::size_t>(p)];
    if (key.down) return p;
    if (key.sounding && found < 0) found = p;
  }
  return found;
}

void EarFeatures::write(Micros t, std::array<float, kEarInputs>& out) {
  advance(t);
  out.fill(0.0F);
  auto row = [&out](std::size_t channel) { return out.data() + channel * 12; };
  for (std::size_t k = 0; k < 3; ++k)
    for (std::size_t r = 0; r < 3; ++r)
      for (std::size_t pc = 0; pc < 12; ++pc) row(k * 3 + r)[pc] = squash(onset_[k][r][pc]);

  int lowest = -1, down = 0;
  for (int p = 0; p < 128; ++p) {
    const EarKey& key = keys_[static_cast<std::size_t>(p)];
    if (!key.sounding) continue;
    const auto pc = static_cast<std::size_t>(p % 12);
    const float ring = 4.0F - 0.03F * static_cast<float>(p);  // seconds; low strings ring longer
    const float amp = key.weight * std::exp(-seconds(now_ - key.on) / std::max(ring, 0.4F));
    float w[3];
    registers(p, w);
    if (key.down) {
      if (lowest < 0) lowest = p;
      ++down;
      for (std::size_t r = 0; r < 3; ++r) row(9 + r)[pc] += w[r] * amp;
    } else {
      row(12)[pc] += w[0] * amp;
      row(13)[pc] += (1.0F - w[0]) * amp;
    }
  }
  for (std::size_t c = 9; c < 14; ++c)
    for (std::size_t pc = 0; pc < 12; ++pc) row(c)[pc] = squash(row(c)[pc]);

  float sum6 = 0.2F, sum25 = 0.2F, sum_bass = 0.2F;
  for (std::size_t pc = 0; pc < 12; ++pc) {
    sum6 += history_[0][pc];
    sum25 += history_[1][pc];
    sum_bass += bass_history_[pc];
  }
  for (std::size_t pc = 0; pc < 12; ++pc) {
    row(14)[pc] = 3.0F * history_[0][pc] / sum6;
    row(15)[pc] = 3.0F * history_[1][pc] / sum25;
    row(17)[pc] = squash(bass_[0][pc]);
    row(18)[pc] = squash(bass_[1][pc]);
    row(19)[pc] = 2.0F * bass_history_[pc] / sum_bass;
    row(20)[pc] = squash(top_[pc]);
    row(21)[pc] = held_time_[0][pc];
    row(22)[pc] = held_time_[1][pc];
  }
  if (lowest >= 0) row(16)[lowest % 12] = 1.0F;
  if (cluster_size_ > 0) row(23)[cluster_low_ % 12] = 1.0F;

  float* s = out.data() + kEarChannels * 12;
  s[0] = log_time(cluster_start_ - previous_cluster_, kLongest);
  s[1] = log_time(now_ - bass_at_, kLongest);
  s[2] = log_time(now_ - bass_before_, kLongest);
  s[3] = static_cast<float>(std::min(down, 12)) / 8.0F;
  s[4] = static_cast<float>(std::min(cluster_size_, 8)) / 5.0F;
  s[5] = static_cast<float>(cluster_velocity_) / std::max(mean_velocity_, 20.0F) - 1.0F;
  s[6] = pedal_ ? 1.0F : 0.0F;
  s[7] = log_time(now_ - pedal_at_, kLongest);
  s[8] = lowest >= 0 ? static_cast<float>(lowest - 50) / 20.0F : 0.0F;
  s[9] = static_cast<float>(cluster_low_ - 55) / 20.0F;
  s[10] = static_cast<float>(cluster_high_ - 65) / 20.0F;
  s[11] = density_ / 8.0F;
  s[12] = cluster_has_bass_ ? 1.0F : 0.0F;
  s[13] = std::clamp(static_cast<float>(bass_pitch_ - bass_pitch_before_) / 12.0F, -1.5F, 1.5F);
  s[14] = log_time(bass_at_ - bass_before_, kLongest);
  s[15] = lowest >= 0 && lowest != bass_pitch_ ? 1.0F : 0.0F;
}

}  // namespace undersong::harmony
