// EarTonality: the current key. A small learnt network judges pitch classes, bass notes and heard chords over
// four spans of time for each of 24 keys; key_hold.h decides when a new key replaces the one in force.
//
// Units: Micros of one stream; probabilities 0..1.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: features by us (profiles in the spirit of Krumhansl 1990; chords and cadences by common practice);
// weights learnt, daemon/harmony/learning.
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/ear_net.h"
#include "daemon/harmony/key_hold.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

struct EarKeyReading {
  PitchClass tonic;
  bool minor = false;
  float confidence = 0;  // probability of this key, 0..1
};

class EarTonality {
 public:
  EarTonality() = default;
  void note_on(Micros t, Pitch p, Velocity v, bool is_bass);
  // Adds a melody note; it counts until the next one, three seconds at most.
  void sing(Micros onset, Pitch p);
  // Adds the chords heard since the last call: log-probabilities of each root and class. Judges the key again
  // and returns true if it changed.
  bool hear(Micros t, const std::array<float, 12 * kEarClasses>& scores);
  // The key in force; nullopt before the first chord.
  std::optional<EarKeyReading> reading() const;
  const KeyNet::Input& input() const { return x_; }

 private:
  void fade(Micros t);
  using Row = std::array<float, 12>;
  KeyNet net_;
  KeyNet::Input x_{};
  std::array<Row, 4> pitches_{};
  std::array<Row, 2> basses_{};
  std::array<std::array<Row, 4>, 2> chords_{};  // [span][major, minor, dominant, diminished]
  Row arrivals_{}, previous_roots_{}, opening_{}, rests_{};
  std::array<Row, 2> tune_{};
  int sung_ = -1;
  Micros sung_at_{0};
  std::array<float, 24> belief_{};
  Micros now_{0}, first_{0}, heard_{0};
  bool started_ = false;
  KeyHold hold_;
};

}  // namespace undersong::harmony
