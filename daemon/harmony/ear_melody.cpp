#include "daemon/harmony/ear_melody.h"

#include <algorithm>
#include <cmath>

#include "daemon/harmony/ear_scale.h"

namespace undersong::harmony {
namespace {

constexpr Micros kSamePress{45'000};  // presses this close together are one gesture
constexpr float kNoNote = 24.0F;      // semitones: the gap where there is no neighbour

float time_before(Micros d) {
  return log_time(d, 8);
}
float steps(int semitones) {
  return std::clamp(static_cast<float>(semitones), -kNoNote, kNoNote) / 12.0F;
}

}  // namespace

EarMelody::EarMelody() = default;

void EarMelody::note_on(Micros t, Pitch p, Velocity v) {
  const Press& lost = press(next_);
  // 64 presses within 30 ms are not music: the oldest is dropped undecided
  if (count_ == kRecent && lost.verdict == Press::kOpen) --open_;
  press(next_) = {t, Micros{0}, p.value(), v.value(), Press::kOpen};
  next_ = (next_ + 1) % kRecent;
  count_ = std::min(count_ + 1, kRecent);
  ++open_;
  mean_velocity_ += 0.03F * (static_cast<float>(v.value()) - mean_velocity_);
}

void EarMelody::note_off(Micros t, Pitch p) {
  for (int k = 0; k < count_; ++k) {
    Press& n = press((next_ - 1 - k + 2 * kRecent) % kRecent);
    if (n.pitch != p.value()) continue;
    if (n.off.count() == 0) n.off = std::max(t, Micros{1});
    return;
  }
}

std::optional<Micros> EarMelody::next_deadline() const {
  if (open_ == 0) return std::nullopt;
  for (int k = count_ - 1; k >= 0; --k)
    if (back(k).verdict == Press::kOpen) return back(k).onset + kMelodyDelay;
  return std::nullopt;
}

// The press to decide: the highest of those that are due first.
int EarMelody::due(Micros t) const {
  if (open_ == 0) return -1;
  int best = -1;
  for (int k = count_ - 1; k >= 0; --k) {
    const int i = (next_ - 1 - k + 2 * kRecent) % kRecent;
    const Press& n = press(i);
    if (n.verdict != Press::kOpen || n.onset + kMelodyDelay > t) continue;
    if (best >= 0 && n.onset != press(best).onset) break;
    if (best < 0 || n.pitch > press(best).pitch) best = i;
  }
  return best;
}

void EarMelody::describe(const Press& n, const EarFeatures& keys, MelodyNet::Input& x) const {
  x.fill(0.0F);
  std::size_t f = 0;
  auto put = [&](float v) { x[f++] = v; };
  const Micros now = n.onset + kMelodyDelay;
  const float v = static_cast<float>(n.velocity);

  // The notes struck together with it.
  int above = 0, below = 0, size = 0, gap_up = 99, gap_down = 99, loudest = 0, lowest = 127, highest = 0;
  bool octave_up = false, octave_down = false, line_above = false;
  float beside = 0;
  for (int k = 0; k < count_; ++k) {
    const Press& m = back(k);
    if (m.onset > now || m.onset < n.onset - kSamePress) continue;
    ++size;
    loudest = std::max(loudest, m.velocity);
    lowest = std::min(lowest, m.pitch);
    highest = std::max(highest, m.pitch);
    if (&m == &n) continue;
    beside = std::max(beside, static_cast<float>(m.velocity));
    if (m.pitch > n.pitch)
      ++above, gap_up = std::min(gap_up, m.pitch - n.pitch), line_above |= m.verdict == Press::kMelody;
    if (m.pitch < n.pitch) ++below, gap_down = std::min(gap_down, n.pitch - m.pitch);
    octave_up |= m.pitch == n.pitch + 12;
    octave_down |= m.pitch == n.pitch - 12;
  }
  put(static_cast<float>(n.pitch - 66) / 12.0F);
  put(v / std::max(mean_velocity_, 20.0F) - 1.0F);
  put((v - static_cast<float>(loudest)) / 20.0F);
  put((v - line_velocity_) / 20.0F);
  put((v - other_velocity_) / 20.0F);
  put(above == 0 ? 1.0F : 0.0F);
  put(static_cast<float>(std::min(above, 4)) / 3.0F);
  put(static_cast<float>(std::min(below, 6)) / 4.0F);
  put(steps(gap_up));
  put(steps(gap_down));
  put(octave_up ? 1.0F : 0.0F);
  put(octave_down ? 1.0F : 0.0F);
  put(line_above ? 1.0F : 0.0F);
  put(static_cast<float>(std::min(size, 8)) / 5.0F);
  put(size > 1 ? (v - beside) / 20.0F : 0.0F);
  put(size > 1 ? steps(highest - lowest) : 0.0F);

  // The notes held from before.
  int held_above = 0, up = 99, down = 99;
  bool up_is_line = false, down_is_line = false;
  float up_velocity = 0, up_age = 0;
  for (int p = 0; p < 128; ++p) {
    const EarKey& key = keys.key(p);
    if (!key.down || p == n.pitch || key.on >= n.onset - kSamePress) continue;
    if (p > n.pitch) {
      ++held_above;
      if (p - n.pitch < up)
        up = p - n.pitch, up_velocity = static_cast<float>(key.velocity), up_age = time_before(now - key.on);
    } else {
      down = n.pitch - p;  // keys ascend, so the last one below is the nearest
    }
  }
  const Press *line[3] = {}, *near_line = nullptr, *near_other = nullptr, *last_other = nullptr;
  int lines = 0, line_count = 0, other_count = 0, same_other = 0, same_line = 0;
  Micros previous{0};
  for (int k = 0; k < count_; ++k) {
    const Press& m = back(k);
    if (m.onset > now || &m == &n) continue;
    const Micros age = now - m.onset;
    const int d = std::abs(m.pitch - n.pitch);
    if (m.onset < n.onset - kSamePress) previous = std::max(previous, m.onset);
    if (m.verdict == Press::kMelody) {
      if (lines < 3) line[lines++] = &m;
      if (age < Micros{4'000'000} && (!near_line || d < std::abs(near_line->pitch - n.pitch))) near_line = &m;
      line_count += age < Micros{2'000'000};
      same_line += d == 0;
      if (m.off.count() == 0 && m.pitch - n.pitch == up) up_is_line = true;
      if (m.off.count() == 0 && n.pitch - m.pitch == down) down_is_line = true;
    } else if (m.verdict == Press::kOther) {
      if (!last_other) last_other = &m;
      if (age < Micros{2'000'000} && (!near_other || d < std::abs(near_other->pitch - n.pitch)))
        near_other = &m;
      other_count += age < Micros{2'000'000};
      same_other += d == 0;
    }
  }
  put(static_cast<float>(std::min(held_above, 4)) / 3.0F);
  put(steps(up));
  put(up < 99 ? (v - up_velocity) / 20.0F : 0.0F);
  put(up_age);
  put(up_is_line ? 1.0F : 0.0F);
  put(steps(down));
  put(down_is_line ? 1.0F : 0.0F);

  // The line so far.
  for (int k = 0; k < 3; ++k) {
    put(line[k] ? steps(n.pitch - line[k]->pitch) : 0.0F);
    put(line[k] ? std::fabs(steps(n.pitch - line[k]->pitch)) : 2.0F);
    put(line[k] ? time_before(n.onset - line[k]->onset) : 1.6F);
  }
  put(line[0] && line[0]->off.count() == 0 ? 1.0F : 0.0F);
  put(line[0] && line[0]->off.count() != 0 ? time_before(now - line[0]->off) : 0.0F);
  put(line[0] ? time_before((line[0]->off.count() ? line[0]->off : now) - line[0]->onset) : 0.0F);
  put(line[0] && line[1] ? time_before(line[0]->onset - line[1]->onset) : 1.0F);
  put(near_line ? std::fabs(steps(near_line->pitch - n.pitch)) : 2.0F);
  put(near_line ? time_before(now - near_line->onset) : 1.6F);
  put((static_cast<float>(n.pitch) - line_pitch_) / 12.0F);
  put(std::fabs(static_cast<float>(n.pitch) - line_pitch_) / 12.0F);
  put(static_cast<float>(line_count) / 8.0F);
  put(static_cast<float>(std::min(same_line, 4)) / 4.0F);

  // The accompaniment so far.
  put((static_cast<float>(n.pitch) - other_pitch_) / 12.0F);
  put((static_cast<float>(n.pitch) - other_top_) / 12.0F);
  put(near_other ? std::fabs(steps(near_other->pitch - n.pitch)) : 2.0F);
  put(near_other ? time_before(now - near_other->onset) : 1.6F);
  put(last_other ? time_before(n.onset - last_other->onset) : 1.6F);
  put(static_cast<float>(other_count) / 12.0F);
  put(static_cast<float>(std::min(same_other, 4)) / 4.0F);
  put(top_rate_);
  put(inner_rate_);
  put(previous.count() ? time_before(n.onset - previous) : 1.6F);
  put(keys.is_pedal_down() ? 1.0F : 0.0F);
  put(keys.key(n.pitch).down && keys.key(n.pitch).on == n.onset ? 1.0F : 0.0F);
  put((line_pitch_ - other_top_) / 12.0F);
  put(line[0] && above == 0 && line[0]->pitch > n.pitch && line[0]->off.count() == 0 ? 1.0F : 0.0F);

  // What is played near it, melody or not.
  int recent = 0, higher = 0, beside_it = 0, same = 0, step = 99, last_before = -1;
  float neighbours = 0;
  for (int k = 0; k < count_; ++k) {
    const Press& m = back(k);
    const Micros age = now - m.onset;
    if (m.onset >= n.onset - kSamePress) continue;
    if (age > Micros{6'000'000}) break;
    ++recent;
    higher += m.pitch > n.pitch + 1;
    const int d = std::abs(m.pitch - n.pitch);
    if (d <= 4) ++beside_it, neighbours += static_cast<float>(m.velocity);
    same += d == 0 && age < Micros{2'000'000};
    if (m.onset >= previous - kSamePress && d < step) step = d, last_before = m.pitch;
  }
  put(recent > 0 ? static_cast<float>(higher) / static_cast<float>(recent) : 0.0F);
  put(recent > 0 ? static_cast<float>(beside_it) / static_cast<float>(recent) : 0.0F);
  put(static_cast<float>(std::min(same, 6)) / 4.0F);
  put(step < 99 ? static_cast<float>(std::min(step, 24)) / 12.0F : 2.0F);
  put(last_before >= 0 ? steps(n.pitch - last_before) : 0.0F);
  put(beside_it > 0 ? (v - neighbours / static_cast<float>(beside_it)) / 20.0F : 0.0F);
  put((static_cast<float>(n.pitch) - cluster_top_) / 12.0F);
  put(static_cast<float>(recent) / 40.0F);
}

EarMelodyNote EarMelody::settle(int i, float log_odds) {
  Press& n = press(i);
  const bool is = log_odds > 0.0F;
  n.verdict = is ? Press::kMelody : Press::kOther;
  --open_;
  const float v = static_cast<float>(n.velocity), p = static_cast<float>(n.pitch);
  bool top = true;
  for (int k = 0; k < count_; ++k) {
    const Press& m = back(k);
    if (m.onset >= n.onset - kSamePress && m.onset <= n.onset + kMelodyDelay && m.pitch > n.pitch)
      top = false;
  }
  if (top) cluster_top_ += 0.08F * (p - cluster_top_);
  (top ? top_rate_ : inner_rate_) += 0.08F * ((is ? 1.0F : 0.0F) - (top ? top_rate_ : inner_rate_));
  if (is) {
    line_velocity_ += 0.1F * (v - line_velocity_);
    line_pitch_ += 0.12F * (p - line_pitch_);
  } else {
    other_velocity_ += 0.05F * (v - other_velocity_);
    other_pitch_ += 0.05F * (p - other_pitch_);
    if (top) other_top_ += 0.1F * (p - other_top_);
  }
  return {Pitch(n.pitch), n.onset, n.onset + kMelodyDelay, is, log_odds};
}

std::optional<EarMelodyNote> EarMelody::decide(Micros t, const EarFeatures& keys) {
  return decide_with(t, keys, [this](const MelodyNet::Input& x, int, Micros) { return net_.score(x); });
}

}  // namespace undersong::harmony
