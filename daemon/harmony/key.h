// The key now: which of 24 keys the playing is in, heard causally from what sounded.
//
// Pitch-class weights decay with a half life, and are correlated with the probe-tone profiles.
// Source: Krumhansl & Kessler (1982), probe-tone ratings; correlation as in Krumhansl (1990), "Cognitive
// Foundations of Musical Pitch", ch. 4.
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
  bool pinned = false;   // the player said it; it is not heard
};

// Place of the key's signature on the line of fifths, -6..6 (Gb, not F#, unless `prefer_sharps`): sharps
// positive.
int signature(Key key);
// The tonic's usual name: Eb minor, F# major ...
NoteName tonic_name(Key key);
// "F# minor" for people.
std::string text(Key key);
// "F#:min" for programs, tonic as in `text`.
std::string harte(Key key);

// Reads a key as people and programs write it: "Ebm", "Eb minor", "Eb:min", "F#", "F# major", "F#:maj", "f#
// Major"; nullopt if it is none. D# minor is read as the same key as Eb minor.
std::optional<Key> parse_key(std::string_view text);

// Tonic first, in semitones. Source: Krumhansl & Kessler (1982); sums 41.79 and 44.51.
inline constexpr std::array<double, 12> kMajorProfile{6.35, 2.23, 3.48, 2.33, 4.38, 4.09,
                                                      2.52, 5.19, 2.39, 3.66, 2.29, 2.88};
inline constexpr std::array<double, 12> kMinorProfile{6.33, 2.68, 3.52, 5.38, 2.60, 3.53,
                                                      2.54, 4.75, 3.98, 2.69, 3.34, 3.17};

// Pearson correlation of pitch-class weights (C first) with the profile of a key, -1..1; 0 for a flat
// histogram.
double profile_correlation(const std::array<double, 12>& weights, Key key);

}  // namespace undersong::harmony
