// Harmonicity: how well tones fit one fundamental, measured in two ways.
//
// Units: octaves (log_periodicity) and bits (harmonicity).
// Threads: any; pure functions. Only `harmonicity` allocates; it is for offline commands, not for the live
// path.
// Errors: none; all functions are total.
// Source: named at each function.
#pragma once

#include <span>

#include "daemon/harmony/pitch.h"
#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

// Relative period of the chord in octaves: log2 of the number of periods of one tone after which the whole
// repeats, averaged over all tones as reference. 1 for C2 E3 G3, 2 for a close major triad, 7.4 for all
// twelve tones, 0 for no keys. Keys in any order; up to 16 count. Source: Stolzenburg (2015), "Harmony
// perception by periodicity detection": smoothed, tempered intervals taken as the simplest ratio within
// 1.1 %.
float log_periodicity(std::span<const Pitch> keys);

// How unevenly the chord's spectrum matches harmonic templates on all fundamentals, in bits; 0 for the empty
// set. `harmonics`: 1..12, of amplitude n^-0.75, each spread by 6.83 cents. Source: Harrison & Pearce (2018),
// harmonicity as the divergence of the virtual pitch profile from a flat one; spectra as in Milne et al.
// (2011).
double harmonicity(PitchClassSet tones, int harmonics = 11);

}  // namespace undersong::harmony
