// StandingMelody: the current melody: the newest notes that the ear took for melody, and whether their keys
// are still down.
//
// A note held on top stays the melody while the harmony changes under it. When the newest note is released
// while an older one is still down, the older one is the melody again.
//
// Units: Micros of one stream.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: common practice, no source.
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
    bool supposed = false;  // the ear did not hear it as melody; it is only the highest held key
  };

  // Adds a note that the ear took for melody. `held`: its key is still down.
  void add(Pitch pitch, Micros onset, bool held);
  // There is no melody: take this key, the highest that is held, in its place.
  void suppose(Pitch pitch, Micros onset) { newest_ = {Note{pitch, onset, true, true}}; }
  // Reports that a key was released.
  void release(Pitch pitch);

  // The newest note and, while its key is down, the one before it. Newest first.
  const FixedVector<Note, kMost>& newest() const { return newest_; }

 private:
  FixedVector<Note, kMost> newest_;
};

}  // namespace undersong::harmony
