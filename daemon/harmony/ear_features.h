// EarFeatures: the input of the learnt ear. It turns the playing of the last seconds into numbers, in the
// same way live and in training.
//
// Evidence is kept for each pitch class in three overlapping registers and decays like struck strings. Every
// channel below can therefore be turned to a candidate root by rotation. A cluster is a group of key presses
// at most kClusterGap apart (a chord as fingers play it); it ends kClusterSpan after it began at the latest.
//
// Units: Micros in the interface, seconds inside; channels are dimensionless, about 0..1.
// Threads: one owner. No allocation.
// Errors: none; all functions are total. Events may come in any order; time never runs backwards here.
// REQUIRES for key(): 0..127.
// Source: decay times and registers chosen by us; the weights that read them are learnt
// (daemon/harmony/learning).
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr int kEarChannels = 24;  // rows of 12 pitch classes
inline constexpr int kEarScalars = 16;
inline constexpr int kEarInputs = kEarChannels * 12 + kEarScalars;
inline constexpr Micros kClusterGap{35'000};
inline constexpr Micros kClusterSpan{80'000};

// The state of one key.
struct EarKey {
  bool down = false;      // held by a finger
  bool sounding = false;  // held by a finger or the pedal
  Micros on{0};
  float weight = 0;  // weight as evidence, from the velocity; about 0.3..1.5
  int velocity = 0;
};

class EarFeatures {
 public:
  // Returns true if this press starts a new cluster.
  bool note_on(Micros t, Pitch p, Velocity v);
  void note_off(Micros t, Pitch p);
  void pedal(Micros t, bool down);

  // Writes the input of the network at time t: kEarChannels rows of 12 pitch classes, then kEarScalars
  // numbers.
  void write(Micros t, std::array<float, kEarInputs>& out);

  const EarKey& key(int pitch) const { return keys_[static_cast<std::size_t>(pitch)]; }
  Micros cluster_start() const { return cluster_start_; }
  // A press at or after this time starts a new cluster.
  Micros cluster_end() const {
    return std::min(last_on_ + kClusterGap, cluster_start_ + kClusterSpan) + Micros{1};
  }
  bool is_pedal_down() const { return pedal_; }
  int sounding_bass() const;  // lowest key down, else lowest sounding key, else -1

 private:
  void advance(Micros t);
  using Row = std::array<float, 12>;

  std::array<EarKey, 128> keys_{};
  std::array<std::array<Row, 3>, 3> onset_{};  // [time constant][register]
  std::array<Row, 2> history_{};
  std::array<Row, 2> bass_{};
  Row bass_history_{};
  Row top_{};
  std::array<Row, 2> held_time_{};
  std::array<int, 12> down_count_{};
  Micros now_{0}, last_on_{-10'000'000}, cluster_start_{-10'000'000}, previous_cluster_{-10'000'000};
  Micros bass_at_{-10'000'000}, bass_before_{-20'000'000}, pedal_at_{-10'000'000};
  int cluster_size_ = 0, cluster_low_ = 127, cluster_high_ = 0, cluster_velocity_ = 0;
  int bass_pitch_ = 48, bass_pitch_before_ = 48;
  bool cluster_has_bass_ = false, pedal_ = false;
  float density_ = 0, mean_velocity_ = 70;
};

}  // namespace undersong::harmony
