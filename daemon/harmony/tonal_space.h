// Where chords stand in a key: Lerdahl's distance, the stability of tones, and brightness on the line of
// fifths.
//
// Units: see each function.
// Threads: any; pure functions. Tables are made at the first use (thread-safe); no allocation.
// Errors: none; all functions are total.
// Source: named at each function.
#pragma once

#include <cstdint>

#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

// A chord reduced to what tonal pitch space uses: root, third (or its suspension) and fifth.
struct Triad {
  PitchClass root;
  PitchClass third;
  PitchClass fifth;
};
// The triad at the bottom of a chord; a missing third or fifth is replaced by the root.
Triad triad_of(PitchClassSet tones, PitchClass root);

// delta = i + j + k between chords of major regions (named by their tonic): the distance of the regions on
// the circle of fifths, the distance of the roots on the circle of fifths (within one region on the diatonic
// one), and the number of tones new in the second chord's basic space. Source: Lerdahl (2001), "Tonal Pitch
// Space", ch. 2.
int chord_distance(const Triad& from, PitchClass from_region, const Triad& to, PitchClass to_region);

// The distance from the tonic triad of a key; the chord is taken in the nearest region that contains it. The
// region of a minor key is its relative major: simpler than Lerdahl's three minor scales.
int distance_from_tonic(PitchClassSet tones, PitchClass root, Key key);

// Probe-tone rating of a pitch class in a key, from 2.2 (foreign) to 6.4 (tonic). Source: Krumhansl & Kessler
// (1982).
float stability(PitchClass tone, Key key);
// The same for a set: the mean over its tones and the rating of the most foreign tone; 0 for the empty set.
struct SetStability {
  float mean = 0;
  float least = 0;
};
SetStability stability(PitchClassSet tones, Key key);

// Mean place of the tones on the line of fifths above the root: P5 +1, M2 +2 ... M7 +5, P4 -1 ... m2 -5. The
// tritone is +6 over a perfect fifth, otherwise -6, and the top of a diminished seventh chord -9. 0 for the
// empty set. Source: modes ordered by the line of fifths, common practice; Temperley & Tan (2013). The rules
// for these two are ours.
float mean_fifths(PitchClassSet tones, PitchClass root);

// Mean place of the tones on the line of fifths, seen from the tonic of a key: in C, Ab -4, Eb -3 ... B +5.
// The tritone above the tonic is +6 if the other tones lie on the sharp side on average, otherwise -6. 0 for
// the empty set. Source: compact spelling on the line of fifths, Temperley (2001), ch. 5.
float mean_place(PitchClassSet tones, PitchClass tonic);

// The tone that best explains the others as its harmonics; between near equals, the bass. Source: Parncutt
// (1988), "Revision of Terhardt's psychoacoustical model of the root(s) of a musical chord", weights 1 1/2
// 1/3 1/4 1/5 1/10 of unison, fifth, major third, minor seventh, second, minor third. The bonus of the bass,
// a fifth of a unison, is ours.
PitchClass likely_root(PitchClassSet tones, PitchClass bass);

}  // namespace undersong::harmony
