// Feel: how beats are divided. Two parts or three (6/8, 9/8, 12/8), and how far the first of two is longer
// than the second (swing).
//
//   feel.strike(place);   // place within its beat, 0 to below 1
//   feel.now();
//
// Sixteenths, triplets now and then, and a chord pushed before the beat do not make a compound metre or a
// swing.
//
// Units: shares of a beat. A swing of 1 is straight; 2 is two to one, a shuffle.
// Threads: one owner. No allocation.
// Errors: none; all functions are total.
// Source: common practice; long to short from 1.2 to 3, Friberg & Sundstroem (2002). The limits are our own.
#pragma once

#include <array>
#include <cstddef>

namespace undersong::harmony {

struct FeelNow {
  int division = 2;  // parts of a beat: 2 or 3
  float swing = 1;   // the first of two parts in multiples of the second
  friend bool operator==(const FeelNow&, const FeelNow&) = default;
};

class Feel {
 public:
  void strike(float place);
  FeelNow now() const;

 private:
  static constexpr std::size_t kPlaces = 24;  // of a beat
  std::array<float, kPlaces> struck_{};       // they fade, so that the feel may change
};

// How a metre is written: `beats` a bar of `division` parts; the length of a beat decides whether five and
// seven are eighths or quarters.
struct TimeSignature {
  int upper = 4, lower = 4;
  friend bool operator==(const TimeSignature&, const TimeSignature&) = default;
};
TimeSignature time_signature(int beats, int division, double seconds_a_beat);

}  // namespace undersong::harmony
