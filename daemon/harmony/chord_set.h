// Properties of a set of pitch classes that do not depend on where it is played: how common, how diatonic and
// how major it is.
//
// Units: see each member.
// Threads: any. The table of 4096 rows is made at the first use, which takes some milliseconds and is
// thread-safe.
// Errors: none; all functions are total. No allocation after the first use.
// Source: named at each member.
#pragma once

#include <cstdint>

#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

struct ChordSet {
  // -ln of the share of the set, in any transposition and inversion, among the chords of popular songs: from
  // 0.7 for a major triad to 11.2 for a set that never occurs. Source: counts of the McGill Billboard corpus
  // (Burgoyne, Wild & Fujinaga 2011) as in R package corpdiss (MIT), the bass ignored, one added to each of
  // the 351 sets; after Harrison & Pearce (2020).
  float unfamiliarity = 0;
  // How much better major keys fit the set than minor keys: the logarithm of the ratio of two sums, each of
  // exp(8 r) over twelve keys, where r is the correlation with the probe-tone profile. From about -1.5 for a
  // minor triad to 1 for a major one. Source: profiles of Krumhansl & Kessler (1982).
  float key_fit = 0;
  // (major triads - minor triads) / (major + minor triads) among the subsets, -1..1; 0 if there are none.
  float triads = 0;
  // The number of tones outside the nearest major scale. Source: the first rule of Johnson-Laird, Kang &
  // Leong (2012), counted.
  std::uint8_t outside = 0;
  bool fifth = false;  // contains a perfect fifth
};

// The properties of `tones`. The empty set has the default values.
const ChordSet& chord_set(PitchClassSet tones);

}  // namespace undersong::harmony
