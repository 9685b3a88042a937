// The terms that colour is made of, as measured on the keys that sound. colour.h weighs them.
//
// Pure; no allocation; everything looked up in tables.
#pragma once

#include <optional>
#include <span>

#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

struct ColourTerms {
  // The chord by itself.
  float periodicity =
      0;  // log_periodicity (harmonicity.h) / notes^0.7, so that more notes alone don't count as harsher
  float mean_roughness = 0;   // square root of the mean pair_roughness (roughness.h)
  float worst_roughness = 0;  // of the harshest pair
  float unfamiliarity = 0;    // chord_set.h, at most 8.5: what never occurs is not known more finely
  float outside = 0;          // tones outside the nearest major scale
  float fifth = 0;            // 1 if it holds a perfect fifth
  // Mode and register.
  float key_fit = 0;  // chord_set.h
  float triads = 0;   // chord_set.h
  float fifths = 0;   // mean_fifths above the root (tonal_space.h)
  float height = 0;   // octaves of the mean key above middle C
  // In its key; 0 where no key is given.
  float root_stability = 0;   // probe-tone rating of the root
  float least_stability = 0;  // of the most foreign tone
  float mean_stability = 0;
  float distance = 0;  // Lerdahl's, from the tonic triad (tonal_space.h)
  float motion =
      0;  // semitones a voice on average from the chord before (voice_leading.h); 0 where none is given
};

// keys: what sounds, any order, doubles allowed; the first 16 different ones count. Without a root the
// likeliest one (tonal_space.h) is taken.
ColourTerms colour_terms(std::span<const Pitch> keys, std::optional<PitchClass> root,
                         const std::optional<Key>& key, std::span<const Pitch> previous);

}  // namespace undersong::harmony
