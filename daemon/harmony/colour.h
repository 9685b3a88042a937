// Colour: where a chord stands between dark and bright, and between resolved and tense.
//
// Resolved-tense is how tense listeners say such a chord is. Alone: its consonance (periodicity, roughness,
// familiarity, tones outside a major scale) and its height. In a key: how stable root and tones are,
// Lerdahl's distance from the tonic, periodicity, mode, and how far the voices had to move. Weights are
// learnt from published ratings, sources in colour_weights.inc; the method and its figures in
// daemon/harmony/learning/learn_colour.py. Dark-bright is a mode term and a register term, kept apart. The
// mode term is how major the chord is (key fit, triads within it, place on the line of fifths), in a key
// averaged with its place on the line of fifths seen from the tonic; the register term is height (higher is
// brighter: Collier & Hubbard 2004). How much each counts: common practice, no source. Pure; no allocation;
// tables made at first use.
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
  float consonance = 0;      // of the chord alone, 0..1
  float valence = 0;  // how pleasant listeners call the chord alone, -1..1: mode and consonance together
};

// A chord by name, as if played in close position about middle C, without a register term. `root` is its
// spelling.
Colour colour(Chord chord, NoteName root, const std::optional<Key>& key);

// A chord as voiced. keys: what sounds, any order, the first 16 different ones count; without any everything
// is 0. Without a root the likeliest one is taken. previous: what sounded before, for the voice leading; may
// be empty.
Colour colour(std::span<const Pitch> keys, const std::optional<Key>& key,
              std::optional<PitchClass> root = std::nullopt, std::span<const Pitch> previous = {});

// The same from terms already measured, and by themselves the listeners' scales that the weights were learnt
// on.
struct Ratings {
  float consonance = 0;      // 1..4. Source of the scale: Bowling, Purves & Gill (2018)
  float tension = 0;         // 1..7, alone. Lahdelma & Eerola (2016)
  float valence = 0;         // 1..7, alone. Lahdelma & Eerola (2016)
  float tension_in_key = 0;  // 1..9. Bigand, Parncutt & Lerdahl (1996)
};
Ratings ratings(const ColourTerms& terms,
                bool moved);  // moved: terms.motion was measured, else an average way is assumed

}  // namespace undersong::harmony
