// Chord: root, quality and bass.
//
//   const Chord c_over_e{PitchClass(0), quality("maj"), PitchClass(4)};   // C/E
//
// The inversion is not stored: it is the degree of the bass.
//
// Units: pitch classes 0..11; a quality is a row of the chord vocabulary.
// Threads: plain values; any thread.
// Errors: none; all functions are total.
// Source: none needed.
#pragma once

#include <cstdint>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

// A row number of the chord vocabulary (chord_vocabulary.h), 0..255. It is never stored on disk or sent to
// clients, so rows may move. REQUIRES where it is used: the row exists.
class Quality {
 public:
  constexpr Quality() = default;
  constexpr explicit Quality(int row) : row_(static_cast<std::uint8_t>(row)) {}
  constexpr int row() const { return row_; }
  friend constexpr auto operator<=>(Quality, Quality) = default;

 private:
  std::uint8_t row_ = 0;
};

struct Chord {
  PitchClass root;
  Quality quality;
  PitchClass bass;  // equals `root` in root position
  friend constexpr bool operator==(const Chord&, const Chord&) = default;
};

}  // namespace undersong::harmony
