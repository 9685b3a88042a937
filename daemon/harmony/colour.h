// Colour: where a chord stands between dark and bright, and between resolved and tense.
//
//   const Colour c = colour(keys, Key{PitchClass(0), Mode::kMajor});
//
// Resolved-tense is how tense listeners call such a chord. Without a key it depends on the chord's consonance
// (periodicity, roughness, familiarity, tones outside a major scale), its place on the line of fifths, its
// tritones, whether it has a seventh, and its height. In a key it depends on the stability of root and tones,
// Lerdahl's distance from the tonic, periodicity, mode, a seventh, and how far the voices had to move.
//
// Dark-bright combines a mode term and a register term. The mode term is how major the chord is (key fit,
// triads within it, place on the line of fifths); in a key it is averaged with the place of its tones on the
// line of fifths seen from the tonic. The register term is height: higher is brighter (Collier & Hubbard
// 2004). Brightness is not valence: both are learnt from the same ratings, but brightness also keeps the
// orders of modes and chords that theory books agree on.
//
// Units: see Colour and Ratings.
// Threads: any; pure functions. Tables are made at the first use (thread-safe); no allocation after that.
// Errors: none; all functions are total.
// Source: weights learnt from published ratings, named in colour_weights.inc, and from the pairs with their
// books in tests/harmony/colour_order.csv; method and figures in
// daemon/harmony/learning/learn_colour.py. The shares of mode and register: common practice, no source.
#pragma once

#include <optional>
#include <span>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"

namespace undersong::harmony {

struct ColourTerms;

struct Colour {
  float dark_bright = 0;     // -1 dark .. 1 bright: 0.85 mode + 0.15 height
  float resolved_tense = 0;  // 0 resolved .. 1 tense
  float mode = 0;            // the mode term, -1 minor or flat .. 1 major or sharp
  float height = 0;          // the register term, -1 low .. 1 high, 0 about middle C
  float consonance = 0;      // consonance of the chord alone, 0..1
  // How pleasant listeners call the chord alone, -1..1: mode and consonance together.
  float valence = 0;
};

// The colour of a named chord, as if played in close position around middle C, without a register term.
Colour colour(const Chord& chord, const std::optional<Key>& key);

// The colour of a chord as it is played. `keys`: the sounding keys in any order; the first 16 different ones
// count; without keys everything is 0. Without `root`, the likeliest one is used. `previous`: the keys that
// sounded before, for the voice leading; may be empty.
Colour colour(std::span<const Pitch> keys, const std::optional<Key>& key,
              std::optional<PitchClass> root = std::nullopt, std::span<const Pitch> previous = {});

// The listeners' scales on which the weights were learnt, from terms already measured.
struct Ratings {
  float consonance = 0;      // 1..4. Source of the scale: Bowling, Purves & Gill (2018)
  float tension = 0;         // 1..7, alone. Lahdelma & Eerola (2016)
  float valence = 0;         // 1..7, alone. Lahdelma & Eerola (2016)
  float tension_in_key = 0;  // 1..9. Bigand, Parncutt & Lerdahl (1996)
};
Ratings ratings(const ColourTerms& terms,
                bool moved);  // moved: terms.motion was measured; otherwise an average motion is assumed

}  // namespace undersong::harmony
