// StrikeEar: what the strikes heard so far say about the newest one, as numbers for the networks that judge
// beats. A strike is a group of notes struck together.
//
//   ear.hear(strike, out);   // out: kStrikeInputs floats
//
// The numbers tell how the strike stands out from its neighbours (height, loudness, number of notes, new
// pitch classes), how long ago the strikes before it were, on a scale of eighths of an octave, and how low
// they were. Absolute time is among them on purpose: the number of strikes a second tells which level a
// musician would count. A take that is known to its end is heard twice, forwards and backwards
// (takes/strikes.h).
//
// Units: Micros of one stream, not descending; logarithms to the base of 2.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: our own. Times between all pairs of strikes as evidence of tempo: Dixon (2001), "Automatic
// extraction of tempo and beat from expressive performances".
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

struct StruckNotes {
  Micros at{};
  float low = 60, high = 60;  // MIDI note numbers
  float loud = 64;            // the loudest velocity
  float size = 1;             // number of notes
  std::uint16_t classes = 0;  // one bit for each pitch class
};

// Notes belong to one strike if each follows the one before within kTogether, and all within twice that.
inline constexpr Micros kTogether{45'000};

inline constexpr std::size_t kLagBins = 37;  // from kFirstLag on, eight an octave
inline constexpr std::size_t kOwnInputs = 18;
inline constexpr std::size_t kStrikeInputs = kOwnInputs + 2 * kLagBins;
using StrikeInputs = std::array<float, kStrikeInputs>;

class StrikeEar {
 public:
  void hear(const StruckNotes& strike, StrikeInputs& out);

 private:
  struct Past {
    Micros at{-100'000'000};
    float low = 0, high = 0, lowness = 0;
  };
  static constexpr std::size_t kPast = 48;
  std::array<Past, kPast> past_{};
  std::size_t heard_ = 0;
  std::array<Micros, 12> classes_ = long_ago();
  float low_ = 0, high_ = 0, loud_ = 0, uneven_ = 0, size_ = 0;
  static constexpr std::array<Micros, 12> long_ago() {
    std::array<Micros, 12> out{};
    out.fill(Micros(-100'000'000));
    return out;
  }
};

}  // namespace undersong::harmony
