// The harmony in force: one chord at a time, from what rings, steady through passing notes.
//
// A block chord is named on its last note. Anything less clear (a lone passing note, a note let go) has to stand for a
// settling time before it renames the chord; the change then holds from when it was first heard.
// Time is data: the owner calls `advance` at exactly next_deadline() before any later event, so that a file and a live
// performance give the same names. No allocation.
// Thresholds: common practice, no source.
#pragma once

#include <optional>

#include "daemon/harmony/evidence.h"
#include "daemon/harmony/recogniser.h"

namespace undersong::harmony {

struct ChordInForce {
  Chord chord;
  float confidence = 0;  // 0..1
  Micros since{};
};

class Follower {
 public:
  void strike(Micros at, Pitch pitch, Velocity velocity);
  void damp(Micros at, Pitch pitch);
  // Looks at what rings now; call once after the strikes and dampings of an event. True if the chord in force changed.
  bool listen(Micros at, const std::optional<Key>& key);
  bool advance(Micros at, const std::optional<Key>& key);
  std::optional<Micros> next_deadline() const;

  const std::optional<ChordInForce>& in_force() const { return in_force_; }

 private:
  struct Pending {
    Chord chord;
    float confidence = 0;
    Micros since{}, due{};
  };
  bool settle();
  std::optional<ChordReading> heard(Micros at, const std::optional<Key>& key) const;

  Evidence evidence_;
  std::optional<ChordInForce> in_force_;
  std::optional<Pending> pending_;
  Micros cluster_start_{-1'000'000};
  Micros last_strike_{-1'000'000};
  int cluster_size_ = 0;
  PitchClassSet cluster_;
};

}  // namespace undersong::harmony
