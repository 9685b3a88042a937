// What can be said of a set of pitch classes wherever it is played: how common, how diatonic, how major it
// is.
//
// Pure; no allocation; one table of 4096 rows made at first use (some milliseconds, thread-safe).
#pragma once

#include <cstdint>

#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

struct ChordSet {
  // -ln of the share of the set, in any transposition and inversion, among the chords of popular songs: 0.7
  // for a major triad .. 11.2 for what never occurs. Source: counts of the McGill Billboard corpus (Burgoyne,
  // Wild & Fujinaga 2011) as in R package corpdiss (MIT), the bass ignored, one added to each of the 351
  // sets; after Harrison & Pearce (2020).
  float unfamiliarity = 0;
  // How much better major keys fit the set than minor keys: the log of the ratio of exp(8 r) summed over
  // twelve keys each, r the correlation with the probe-tone profile. About -1.5 a minor triad .. 1 major.
  // Source: profiles Krumhansl & Kessler (1982).
  float key_fit = 0;
  // (major triads - minor triads) / all of them among the subsets, -1..1; 0 without any.
  float triads = 0;
  // Tones outside the nearest major scale. Source: the first rule of Johnson-Laird, Kang & Leong (2012),
  // counted.
  std::uint8_t outside = 0;
  bool fifth = false;  // holds a perfect fifth
};

const ChordSet& chord_set(PitchClassSet tones);

}  // namespace undersong::harmony
