// Measures the terms of colour on the sounding keys; colour.h weighs them.
//
// Units: see each member.
// Threads: any; pure functions on tables. No allocation after the tables were made.
// Errors: none; all functions are total.
// Source: in the headers named at each member.
#pragma once

#include <optional>
#include <span>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

struct ColourTerms {
  // The chord alone.
  // log_periodicity (harmonicity.h) / notes^0.7, so that more notes alone do not count as harsher.
  float periodicity = 0;
  float mean_roughness = 0;   // square root of the mean pair_roughness (roughness.h)
  float worst_roughness = 0;  // pair_roughness of the harshest pair
  float unfamiliarity = 0;    // from chord_set.h, at most 8.5: all sets that never occur count alike
  float outside = 0;          // tones outside the nearest major scale
  float fifth = 0;            // 1 if it contains a perfect fifth
  float tritones = 0;         // tritones among its tones; more than two count as two
  float seventh = 0;          // 1 if it has more tones than a triad
  // Mode and register.
  float key_fit = 0;  // from chord_set.h
  float triads = 0;   // from chord_set.h
  float fifths = 0;   // mean_fifths above the root (tonal_space.h)
  float height = 0;   // octaves of the mean key above middle C
  // The chord in its key; 0 without a key.
  float root_stability = 0;   // probe-tone rating of the root
  float least_stability = 0;  // rating of the most foreign tone
  float mean_stability = 0;
  float distance = 0;  // Lerdahl's distance from the tonic triad (tonal_space.h)
  float place = 0;     // mean_place (tonal_space.h)
  // Semitones per voice, on average, from the chord before (voice_leading.h); 0 without one.
  float motion = 0;
};

// `keys`: the sounding keys in any order, duplicates allowed; the first 16 different ones count. Without
// `root`, the likeliest one (tonal_space.h) is used.
ColourTerms colour_terms(std::span<const Pitch> keys, std::optional<PitchClass> root,
                         const std::optional<Key>& key, std::span<const Pitch> previous);

// A named chord in close position around middle C, whatever its root is, so that all roots can be compared:
// the bass, then every tone above it, ninths and higher tensions an octave up, as they are played.
using CloseKeys = FixedVector<Pitch, 9>;
CloseKeys close_position(const Chord& chord);
// The terms of a named chord, as if played in this position, without height and motion.
ColourTerms colour_terms(const Chord& chord, const std::optional<Key>& key);

}  // namespace undersong::harmony
