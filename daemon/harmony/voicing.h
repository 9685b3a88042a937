// Lays out a chord for two hands, with the melody on top.
//
//   const Voicing voicing = voice(chord, melody, Hands(held));
//
// Limits (common practice, no source): each hand spans at most a tenth (16 semitones) and holds at most five
// notes; the hands do not cross; low notes stand far apart (kLowIntervals). Within these limits the cheapest
// layout (voicing_price.h: motion of the hands, mud, gaps) is found exactly, by branch and bound. Textbook
// styles have names; voicings() offers the best layout and up to three others.
//
// Units: MIDI keys, semitones.
// Threads: any; pure functions on plain values. No allocation after the vocabulary was made; `voice` takes
// about half a microsecond.
// Errors: none; a layout that is not possible is nullopt or has fewer notes. REQUIRES for Hands: keys 0..127
// and first <= last < fingers().
// Source: common practice, no source.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstdlib>
#include <optional>
#include <span>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr int kHandSpan = 16;  // semitones: a major tenth
inline constexpr int kNotesInHand = 5;
using Hand = FixedVector<Pitch, kNotesInHand>;  // lowest first

struct Voicing {
  Hand left;
  Hand right;  // the highest note is the melody
  // Semitones: the least motion from the keys held now to these (Hands::motion).
  std::uint8_t hands_move = 0;
  friend constexpr bool operator==(const Voicing&, const Voicing&) = default;
};

// For each interval of 1..12 semitones, the lowest key for its lower note at which it still sounds clear.
// Common practice, no source (arranging handbooks differ by a step or two).
inline constexpr std::array<std::uint8_t, 13> kLowIntervals{0,  52, 51, 48, 46, 46, 47,
                                                            34, 43, 41, 41, 41, 24};

// Where the hands are. Made once for each moment and used for every chord.
class Hands {
 public:
  Hands();  // at rest in the middle of the keyboard
  // If there are more than ten keys (the pedal holds them), the five lowest and five highest count as held.
  explicit Hands(std::span<const Pitch> held);
  // Semitones from a key (0..127) to the nearest held key.
  int way(int key) const { return way_[static_cast<std::size_t>(key)]; }
  std::size_t fingers() const { return held_.size(); }
  // Semitones from a key to the nearest of the fingers first..last, counted from the lowest. REQUIRES: first
  // <= last < fingers().
  int way(int key, std::size_t first, std::size_t last) const {
    int least = 127;
    for (std::size_t j = first; j <= last; ++j) least = std::min(least, std::abs(key - held_[j]));
    return least;
  }
  // Semitones of the least motion to these keys, lowest first: every finger takes one key. Fingers left over
  // are lifted; if there are too few fingers, all are used and some take several keys.
  int motion(std::span<const int> keys) const;

 private:
  std::array<std::uint8_t, 128> way_{};
  FixedVector<std::uint8_t, 2 * kNotesInHand> held_;  // lowest first
};

// The best layout of a chord. `melody`: the notes that stay on top, in any order, at least one; notes more
// than a tenth below the highest are left out. The result contains the melody and, if there is room below it,
// the bass (chord.bass).
Voicing voice(const Chord& chord, std::span<const Pitch> melody, const Hands& hands);

enum class Style : std::uint8_t {
  kOpen,       // whatever moves least and sounds best: what voice() without a style finds
  kShell,      // only root, third and seventh (or sixth, or fifth) under the melody
  kRootlessA,  // left hand 3 5 7 9 upwards, without the root; 13 for 5 if the chord has one
  kRootlessB,  // left hand 7 9 3 5 upwards, without the root
  kDrop2,      // four voices in close position under the melody, the second highest an octave down
  kSpread,     // bass at the bottom, all neighbours at least a fourth apart
  kQuartal,    // fourths downwards from the melody, with at most one major third, over the bass
  kBlock,      // four close voices under the melody in the right hand, the melody an octave lower in the left
};
inline constexpr int kStyles = 8;
std::string_view name(Style style);  // such as "rootless A"

// The best layout in this style; nullopt if chord, melody or room do not allow it. Rootless, drop 2 and block
// voicings may leave the bass to another player. Drop 2, block and quartal voicings are only possible if
// every melody note falls into place.
std::optional<Voicing> voice(const Chord& chord, std::span<const Pitch> melody, const Hands& hands,
                             Style style);

struct StyledVoicing {
  Style style = Style::kOpen;
  Voicing voicing;
};
// The best layout first, then the cheapest three of the other styles that differ from it and from each other.
using Voicings = FixedVector<StyledVoicing, 4>;
Voicings voicings(const Chord& chord, std::span<const Pitch> melody, const Hands& hands);

}  // namespace undersong::harmony
