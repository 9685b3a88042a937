// Where chords stand in a key: Lerdahl's distance, how stable tones are, and brightness on the line of
// fifths.
//
// Pure; no allocation; tables made at first use, thread-safe.
#pragma once

#include <cstdint>

#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

// A chord reduced to what tonal pitch space knows: root, third (or what is suspended in its place) and fifth.
struct Triad {
  PitchClass root;
  PitchClass third;
  PitchClass fifth;
};
// The triad at the bottom of a chord; a missing third or fifth becomes the root.
Triad triad_of(PitchClassSet tones, PitchClass root);

// delta = i + j + k between chords of major regions (named by their tonic): regions apart on the circle of
// fifths, roots apart on the (within one region diatonic) circle of fifths, and tones new in the second
// chord's basic space. Source: Lerdahl (2001), "Tonal Pitch Space", ch. 2.
int chord_distance(const Triad& from, PitchClass from_region, const Triad& to, PitchClass to_region);

// The same from the tonic triad of a key, the chord taken in the nearest region that contains it. A minor
// key's region is its relative major's: simpler than Lerdahl's three minor scales.
int distance_from_tonic(PitchClassSet tones, PitchClass root, Key key);

// Probe-tone rating of a pitch class in a key, 2.2 (foreign) .. 6.4 (tonic). Source: Krumhansl & Kessler
// (1982).
float stability(PitchClass tone, Key key);
// The same over a set: of its tones on average, and of the most foreign one; 0 for the empty set.
struct SetStability {
  float mean = 0;
  float least = 0;
};
SetStability stability(PitchClassSet tones, Key key);

// Mean place of the tones on the line of fifths above the root: P5 +1, M2 +2 ... M7 +5, P4 -1 ... m2 -5; the
// tritone is +6 over a perfect fifth, else -6. 0 for the empty set. Source: modes ordered by the line of
// fifths, common practice; Temperley & Tan (2013). The tritone rule is ours.
float mean_fifths(PitchClassSet tones, PitchClass root);

// The tone that best explains the others as its harmonics; between near equals the bass.
// Source: Parncutt (1988), "Revision of Terhardt's psychoacoustical model of the root(s) of a musical chord",
// weights 1 1/2 1/3 1/4 1/5 1/10 of unison, fifth, major third, minor seventh, second, minor third; the
// bass's fifth of a unison is ours.
PitchClass likely_root(PitchClassSet tones, PitchClass bass);

}  // namespace undersong::harmony
