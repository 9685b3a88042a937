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

  // Places for a tone between bass and melody.
  struct Places {
    std::array<std::uint8_t, 128>
        ways;  // by key, under the melody: twice the semitones to the nearest finger that can come
    std::array<std::uint16_t, 128> bound;  // the least that a tone costs there
    // By pitch class: the keys, the cheapest bound first; ends with 0.
    std::array<std::array<std::uint8_t, 8>, 12> keys{};
  };
  Keys melody;  // lowest first
  const Hands& hands;
  // Where every key has a finger of its own the inner tones leave the lowest to the bass and the highest to
  // the top note.
  Places any_finger, inner_fingers;

 private:
  void fill(Places& places, std::size_t first, std::size_t last) const;
};

// A layout; empty where there is none.
struct Found {
  Keys keys;
  std::size_t split_at = 0;
  int motion = 0;           // of the hands, semitones
  int price = kUnplayable;  // voicing_price.h
};

// Pitch classes that bass and melody bring along.
PitchClassSet present_in(const Chord& chord, const Keys& melody);

// The cheapest playable layout of the chord's bass, the melody and each of `tones` once, neighbours at least
// `least_gap` semitones apart (the melody's own notes excepted). Where there is none the last tone is given
// up, and so on; empty if even the bass finds no place.
Found search(const Chord& chord, const Room& room, FixedVector<int, kMaxInner> tones, int least_gap);
// The layout of least price with the tones that the chord needs. Where even that asks for a stretch or leaves
// the hands far apart, one more tone, doubled, may lie between: root, melody or fifth.
Found open_layout(const Chord& chord, const Room& room);
// The best layout, as the function of the same name in voicing.h: for many chords under one melody.
Voicing voice(const Chord& chord, const Room& room);

}  // namespace undersong::harmony
