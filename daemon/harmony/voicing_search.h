// The exact search behind voicings: places bass, melody and inner tones at the lowest price.
//
// Units: prices in half semitones of motion, as in voicing_price.h; MIDI keys.
// Threads: any; pure functions. No allocation.
// Errors: none; an empty Found means that there is no layout.
// Source: branch and bound, common practice, no source.
#pragma once

#include <array>
#include <cstdint>

#include "daemon/harmony/voicing_price.h"

namespace undersong::harmony {

// What all searches under one melody share, for the current hands. Keeps a reference to the hands, which must
// outlive it.
struct Room {
  Room(const Keys& melody, const Hands& hands);

  // The places for a tone between bass and melody.
  struct Places {
    // By key, under the melody: twice the semitones to the nearest finger that can take it.
    std::array<std::uint8_t, 128> ways;
    std::array<std::uint16_t, 128> bound;  // least price of a tone there, by key
    // By pitch class: the keys, cheapest bound first; ends with 0.
    std::array<std::array<std::uint8_t, 8>, 12> keys{};
  };
  Keys melody;  // lowest first
  const Hands& hands;
  // inner_fingers applies if every key has a finger of its own: the inner tones then leave the lowest finger
  // to the bass and the highest to the top note. any_finger applies otherwise.
  Places any_finger, inner_fingers;

 private:
  void fill(Places& places, std::size_t first, std::size_t last) const;
};

// A layout; empty if there is none.
struct Found {
  Keys keys;
  std::size_t split_at = 0;
  int motion = 0;           // of the hands, semitones
  int price = kUnplayable;  // voicing_price.h
};

// The pitch classes of bass and melody.
PitchClassSet present_in(const Chord& chord, const Keys& melody);

// The cheapest playable layout of the chord's bass, the melody, and each of `tones` once, with neighbours at
// least `least_gap` semitones apart (except among the melody's own notes). If there is none, the last tone is
// dropped, and so on; empty if even the bass has no place.
Found search(const Chord& chord, const Room& room, FixedVector<int, kMaxInner> tones, int least_gap);
// The layout of least price with the tones that the chord needs. Where even that asks for a stretch or leaves
// the hands far apart, one more tone, doubled, may lie between: root, melody or fifth.
Found open_layout(const Chord& chord, const Room& room);
// The best layout, as the function of the same name in voicing.h: for many chords under one melody.
Voicing voice(const Chord& chord, const Room& room);

}  // namespace undersong::harmony
