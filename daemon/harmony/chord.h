// A chord as the program knows it: root, quality, bass. No inversion is stored: it is the bass's degree.
#pragma once

#include <cstdint>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

// A row of the chord vocabulary (chord_vocabulary.h). Not stored on disk and not sent on the wire: rows may
// move.
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
  PitchClass bass;  // equals root when the chord stands on its root
  friend constexpr bool operator==(const Chord&, const Chord&) = default;
};

}  // namespace undersong::harmony
