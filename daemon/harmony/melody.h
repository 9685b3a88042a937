// The melody that stands: the newest notes that the ear took for melody, and whether their keys are still
// down.
//
// A note held on top stays the melody while the harmony changes under it. When the newest is let go while an
// older one is still down, the older is the melody again. Pure; no allocation. Source: common practice, no
// source.
#pragma once

#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

class StandingMelody {
 public:
  static constexpr std::size_t kMost = 2;
  struct Note {
    Pitch pitch;
    Micros since{};
    bool held = false;
    bool supposed = false;  // nobody heard it as melody; it is only the top of what is held
  };

  // The ear found a melody note. `held`: its key is still down.
  void add(Pitch pitch, Micros onset, bool held);
  // There is no tune, but this key is the top of what is held.
  void suppose(Pitch pitch, Micros onset) { newest_ = {Note{pitch, onset, true, true}}; }
  void release(Pitch pitch);

  // The newest note and, while its key is down, the one before it. Newest first.
  const FixedVector<Note, kMost>& newest() const { return newest_; }

 private:
  FixedVector<Note, kMost> newest_;
};

}  // namespace undersong::harmony
