// A chord laid out for two hands, melody on top.
//
// Limits (common practice, no source): each hand spans a tenth (16 semitones) at most and holds five notes at most; the
// hands don't cross; low notes stand far apart (kLowIntervals). Within these the layout that moves the hands least and
// is neither muddy nor gaping is found exactly, by branch and bound.
// Pure; no allocation; about a microsecond.
#pragma once

#include <array>
#include <cstdint>
#include <span>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr int kHandSpan = 16;      // semitones, a major tenth
inline constexpr int kNotesInHand = 5;
using Hand = FixedVector<Pitch, kNotesInHand>;  // lowest first

struct Voicing {
  Hand left;
  Hand right;                   // the melody is its highest note
  std::uint8_t hands_move = 0;  // semitones: the sum over its notes of the way to the nearest key held now
  friend constexpr bool operator==(const Voicing&, const Voicing&) = default;
};

// The lowest lower note at which an interval of 1..12 semitones still sounds clear, as MIDI keys. Common practice, no
// source (arranging handbooks differ by a step or two).
inline constexpr std::array<std::uint8_t, 13> kLowIntervals{0, 52, 51, 48, 46, 46, 47, 34, 43, 41, 41, 41, 24};

// Where the hands are: the way from each key to the nearest one they hold. Made once a moment, used for every chord.
class Hands {
 public:
  Hands();  // at rest over the middle of the keyboard
  explicit Hands(std::span<const Pitch> held);
  int way(int key) const { return way_[static_cast<std::size_t>(key)]; }  // semitones, 0..127

 private:
  std::array<std::uint8_t, 128> way_{};
};

// `melody`: the notes that stay on top, any order, at least one, each within a tenth below the highest (others are left
// out). The bass is chord.bass. The result always holds the bass (where the melody leaves room below it) and the melody.
Voicing voice(const Chord& chord, std::span<const Pitch> melody, const Hands& hands);

}  // namespace undersong::harmony
