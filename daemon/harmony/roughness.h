// Roughness: how much the partials of sounding tones beat against each other.
//
// Each tone has 11 harmonics of amplitude 1/n. Two partials within a critical band beat; coincident partials
// add by energy. Units: Hutchinson and Knopoff's dissonance factor, 0 smooth, about 0.5 a semitone in the
// middle of the keyboard. Pure; no allocation. `pair_roughness` reads a table made at first use (some
// milliseconds, thread-safe). Source: Hutchinson & Knopoff (1978), "The acoustic component of Western
// consonance"; curve as parameterised by Bigand, Parncutt & Lerdahl (1996), critical band 1.72 f^0.65 Hz.
#pragma once

#include <span>

#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

// The chord's dissonance factor, exactly. At most 16 different keys count; 0 for none. harmonics 1..11.
double roughness(std::span<const Pitch> keys, int harmonics = 11);

// What two tones add to each other's own roughness, in the same units times the energy of one tone; exact for
// a dyad, so that roughness of a dyad = (own + own + pair) / (2 * tone energy). Negative where partials fall
// together.
float pair_roughness(Pitch a, Pitch b);

// Over all pairs of different keys, lowest first: their mean and the harshest; 0 for fewer than two keys.
struct PairRoughness {
  float mean = 0;
  float worst = 0;
};
PairRoughness pair_roughness(std::span<const Pitch> keys);

}  // namespace undersong::harmony
