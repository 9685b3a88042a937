// Lays out a chord for two hands, with the melody on top.
//
// Limits: the left hand spans the player's reach at most, the right hand a tenth; each holds five notes at
// most; the hands do not cross; low notes stand far apart (kLowIntervals). Within these limits the layout of
// least price is found exactly, by branch and bound. The price counts how far the hands move, mud, a note
// right under the melody, a hole between the hands, a bare left hand and a crowded grip (voicing_price.h).
// Textbook styles have names; voicings() offers the best layout and up to three others.
//
// Units: MIDI keys and semitones. Threads: pure functions; no allocation. Errors: none; where the melody
// leaves no room for a chord, the melody stands alone. Source: common practice, no source.
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

inline constexpr int kHandSpan = 16;  // semitones, a major tenth: what no voicing exceeds
inline constexpr int kMiddle = 57;    // A3: a hand that holds keys around it or above is the right one
inline constexpr int kSmallReach = 12, kUsualReach = 14;  // an octave; a ninth
inline constexpr int kNotesInHand = 5;
using Hand = FixedVector<Pitch, kNotesInHand>;  // lowest first

struct Voicing {
  Hand left;
  Hand right;                   // the melody is its highest note
  std::uint8_t hands_move = 0;  // semitones that the fingers which are down now travel, see Hands::moved
  friend constexpr bool operator==(const Voicing&, const Voicing&) = default;
};

// For each interval of 1..12 semitones, the lowest key for its lower note at which it still sounds clear.
// Common practice, no source (arranging handbooks differ by a step or two).
inline constexpr std::array<std::uint8_t, 13> kLowIntervals{0,  52, 51, 48, 46, 46, 47,
                                                            34, 43, 41, 41, 41, 24};

// Where the hands are. Made once for each moment and used for every chord.
class Hands {
 public:
  Hands() : Hands(std::span<const Pitch>()) {}
  // Of more than ten keys (a pedal holds them) the five lowest and five highest count as held.
  // None held: at rest over the middle of the keyboard. `reach`: how far each hand stretches with ease, in
  // semitones, kSmallReach..kHandSpan.
  explicit Hands(std::span<const Pitch> held, int reach = kUsualReach);
  int reach() const { return reach_; }
  // Semitones from a key (0..127) to the nearest one held.
  int way(int key) const { return way_[static_cast<std::size_t>(key)]; }
  std::size_t fingers() const { return fingers_.size(); }
  // Semitones from a key to the nearest of the fingers first..last, counted from the lowest; first <= last <
  // fingers().
  int way(int key, std::size_t first, std::size_t last) const {
    int least = 127;
    for (std::size_t j = first; j <= last; ++j) least = std::min(least, std::abs(key - fingers_[j]));
    return least;
  }
  // Semitones of the least motion to these keys, lowest first: every finger takes one key. Fingers left over
  // are lifted; if there are too few fingers, all are used and some take several keys.
  int motion(std::span<const int> keys) const;
  // Semitones that the fingers which are down now travel to these keys, lowest first, at least: what a player
  // is told. Keys for which no finger is down yet are simply struck, and fingers left over are lifted.
  int moved(std::span<const int> keys) const;

 private:
  int reach_ = kUsualReach;
  std::array<std::uint8_t, 128> way_{};
  FixedVector<std::uint8_t, 2 * kNotesInHand> held_;     // lowest first
  FixedVector<std::uint8_t, 2 * kNotesInHand> fingers_;  // and those of a hand at rest
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
