// Keys: the 24 major and minor keys, their signatures and names, and the key that best fits a set of
// pitch-class weights. The key that is heard live is judged in ear_tonality.h.
//
//   parse_key("Eb minor");    // Key{PitchClass(3), Mode::kMinor}
//   best_key(weights);        // weights of the 12 pitch classes, C first
//
// Units: signatures as places on the line of fifths, sharps positive; correlations -1..1; weights in any
// unit.
// Threads: any; pure functions. Those that return text allocate, and so does parse_key.
// Errors: parse_key and best_key return nullopt; the rest is total.
// Source: Krumhansl & Kessler (1982), probe-tone ratings; correlation as in Krumhansl (1990), "Cognitive
// Foundations of Musical Pitch", ch. 4. The confidence: common practice, no source.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/harmony/pitch.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

enum class Mode : std::uint8_t { kMajor, kMinor };

struct Key {
  PitchClass tonic;
  Mode mode = Mode::kMajor;
  friend constexpr bool operator==(const Key&, const Key&) = default;
};

struct KeyReading {
  Key key;
  float confidence = 0;  // 0..1
  bool pinned = false;   // true: the player chose the key; false: it was heard
};

// Place of the key's signature on the line of fifths, -6 (six flats) .. 5 (five sharps). Six accidentals are
// always flats: Gb major and Eb minor.
int signature(Key key);
// The usual name of the tonic: Gb for the major key on that tone, Eb for its relative minor.
NoteName tonic_name(Key key);
// The key as text for people: "F# minor".
std::string text(Key key);
// The key as text for programs: "F#:min"; the tonic is spelled as in `text`.
std::string harte(Key key);

// Reads a key as people and programs write it: "Ebm", "Eb minor", "Eb:min", "F#", "F# major", "F#:maj", "f#
// Major". nullopt if it is not a key. D# minor is the same key as Eb minor.
std::optional<Key> parse_key(std::string_view text);

// Ratings of the twelve pitch classes, the tonic first. Source: Krumhansl & Kessler (1982); sums 41.79 and
// 44.51.
inline constexpr std::array<double, 12> kMajorProfile{6.35, 2.23, 3.48, 2.33, 4.38, 4.09,
                                                      2.52, 5.19, 2.39, 3.66, 2.29, 2.88};
inline constexpr std::array<double, 12> kMinorProfile{6.33, 2.68, 3.52, 5.38, 2.60, 3.53,
                                                      2.54, 4.75, 3.98, 2.69, 3.34, 3.17};

// Pearson correlation of pitch-class weights (C first) with the profile of a key, -1..1; 0 if all weights are
// equal.
double profile_correlation(const std::array<double, 12>& weights, Key key);

}  // namespace undersong::harmony
