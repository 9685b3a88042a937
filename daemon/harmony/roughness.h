// Roughness: how much the partials of sounding tones beat against each other.
//
// Each tone has 11 harmonics of amplitude 1/n. Two partials within a critical band beat; partials that
// coincide add their energy.
//
// Units: Hutchinson and Knopoff's dissonance factor: 0 is smooth, a semitone in the middle of the keyboard
// has about 0.5.
// Threads: any; pure functions. pair_roughness reads a table made at the first use, which takes some
// milliseconds and is thread-safe. No allocation after that.
// Errors: none; all functions are total.
// Source: Hutchinson & Knopoff (1978), "The acoustic component of Western consonance"; curve as parameterised
// by Bigand, Parncutt & Lerdahl (1996), critical band 1.72 f^0.65 Hz.
#pragma once

#include <cstddef>
#include <span>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

// At most so many different keys of a chord count.
inline constexpr std::size_t kMostKeysHeard = 16;

// The exact dissonance factor of a chord; 0 for no keys. `harmonics`: 1..11.
double roughness(std::span<const Pitch> keys, int harmonics = 11);

// What two tones add to each other's own roughness, in the same unit times the energy of one tone. Exact for
// a dyad: roughness of a dyad = (own + own + pair) / (2 * tone energy). Negative where partials coincide.
// Keys outside A0..C8 count as the nearer end.
float pair_roughness(Pitch a, Pitch b);

// The mean and the worst over all pairs of different keys, given lowest first; 0 for fewer than two keys.
struct PairRoughness {
  float mean = 0;
  float worst = 0;
};
PairRoughness pair_roughness(std::span<const Pitch> keys);

}  // namespace undersong::harmony
