// The exact search behind voicings: bass, melody and inner tones laid out at the least price.
//
// Pure; no allocation.
#pragma once

#include <array>
#include <cstdint>

#include "daemon/harmony/voicing_price.h"

namespace undersong::harmony {

// What all searches under one melody share, for hands where they are. Keeps a reference to the hands.
struct Room {
  Room(const Keys& melody, const Hands& hands);

  Keys melody;  // lowest first
  const Hands& hands;
  std::array<std::uint16_t, 128> bound;  // by key: the least that a tone costs there
  // By pitch class: where a tone may stand under the melody, the cheapest bound first; ends with 0.
  std::array<std::array<std::uint8_t, 8>, 12> inner{};
};

// Pitch classes that bass and melody bring along.
PitchClassSet present_in(const Chord& chord, const Keys& melody);

// The cheapest playable layout of the chord's bass, the melody and each of `tones` once, neighbours at least `least_gap`
// semitones apart (the melody's own notes excepted). Where there is none the last tone is given up, and so on; empty if
// even the bass finds no place.
Keys search(const Chord& chord, const Room& room, FixedVector<int, kMaxInner> tones, int least_gap);
// The best layout, as the function of the same name in voicing.h: for many chords under one melody.
Voicing voice(const Chord& chord, const Room& room);

}  // namespace undersong::harmony
