// The melody: the note a listener would sing, among what is struck.
//
// First form: a struck note is melody when no higher key is down and it does not lie below the hands' middle; a note
// held on top stays the melody while the harmony changes under it.
// Source: the skyline rule as in Uitdenbogerd & Zobel (1999), "Melodic matching techniques for large music databases".
#pragma once

#include <array>
#include <optional>

#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

class MelodyLine {
 public:
  // True when the struck note continues the melody.
  bool strike(Micros at, Pitch pitch);
  void release(Pitch pitch);

  struct Note {
    Pitch pitch;
    Micros since{};
    bool held = false;
  };
  // The newest note of the melody and, if its key is still down, the one before. Newest first.
  const FixedVector<Note, 2>& newest() const { return newest_; }

 private:
  std::array<bool, 128> down_{};
  FixedVector<Note, 2> newest_;
};

}  // namespace undersong::harmony
