// The chord classes of the learnt ear, and how they map to the rows of the chord vocabulary.
//
// Units: class indices 0..17; extensions as bits.
// Threads: any; pure functions. Tables are made at the first use (thread-safe). No allocation.
// Errors: none. REQUIRES: a class index 0..17.
// Source: chosen by us; texts as in Harte et al. (2005).
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr int kEarClasses = 18;
inline constexpr int kEarExtensions = 7;

// Harte text of each class, in the order of the network's outputs.
inline constexpr std::array<std::string_view, kEarClasses> kEarClassText = {
    "maj", "min",  "dim",  "aug",     "sus2",  "sus4", "5",       "maj6",     "min6",
    "7",   "maj7", "min7", "minmaj7", "hdim7", "dim7", "aug(b7)", "sus4(b7)", "7(*5,b5)"};
inline constexpr std::array<std::string_view, kEarExtensions> kEarExtensionText = {"b9",  "9",   "#9", "11",
                                                                                   "#11", "b13", "13"};

struct EarChord {
  PitchClass root;
  int cls = 0;                  // index into kEarClassText
  std::uint8_t extensions = 0;  // bit i: kEarExtensionText[i] is in the chord
  PitchClass bass;
  friend constexpr bool operator==(const EarChord&, const EarChord&) = default;
};

// The vocabulary chord for what the ear heard: its class with its extensions.
Chord chord_of(const EarChord& heard);
// The class whose third, fifth and seventh are nearest to those of the quality.
int ear_class(Quality quality);

}  // namespace undersong::harmony
