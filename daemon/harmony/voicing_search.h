// The exact search behind voicings: bass, melody and inner tones laid out at the least price.
//
// Pure; no allocation.
#pragma once

#include "daemon/harmony/voicing_price.h"

namespace undersong::harmony {

// Pitch classes that bass and melody bring along.
PitchClassSet present_in(const Chord& chord, const Keys& melody);

// The cheapest playable layout of the chord's bass, the melody and each of `tones` once, neighbours at least `least_gap`
// semitones apart (the melody's own notes excepted). Where there is none the last tone is given up, and so on; empty if
// even the bass finds no place.
Keys search(const Chord& chord, const Keys& melody, FixedVector<int, kMaxInner> tones, int least_gap, const Hands& hands);

}  // namespace undersong::harmony
