// Degrees: where a note stands above a root, as musicians count it: 1, b9, 9, b3, 3, 11, #11, 5, b13, 13, b7,
// 7.
//
//   semitones({9, -1});      // 13: a flat ninth
//   text(Degree{11, 1});     // "#11"
//
// Units: semitones; degree numbers of the major scale.
// Threads: any; pure functions. text and append_text may allocate.
// Errors: parse_degree returns nullopt for anything else; the rest is total. REQUIRES: number >= 1.
// Source: degree numbers of the major scale with flats and sharps, as in Harte, Sandler, Abdallah & Gomez
// (2005), "Symbolic representation of musical chords"; the semitones of each number are those of the major
// scale.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace undersong::harmony {

// number: 1..13. alter: semitones from the degree of the major scale, usually -2..2.
struct Degree {
  std::int8_t number = 1;
  std::int8_t alter = 0;
  friend constexpr bool operator==(Degree, Degree) = default;
};

// Semitones above the root; 9ths, 11ths and 13ths lie above the octave.
constexpr int semitones(Degree degree) {
  constexpr std::array<int, 7> kMajorScale{0, 2, 4, 5, 7, 9, 11};
  const int step = degree.number - 1;
  return 12 * (step / 7) + kMajorScale[step % 7] + degree.alter;
}
constexpr int pitch_class_offset(Degree degree) {
  return (semitones(degree) % 12 + 12) % 12;
}

// The degree as text: "b9", "#11", "5".
std::string text(Degree degree);
void append_text(std::string& out, Degree degree);
// Reads such a text; nullopt if it is not a degree.
std::optional<Degree> parse_degree(std::string_view text);

// The usual name of an interval above a root when the chord is not known: 1 b9 9 b3 3 11 #11 5 b13 13 b7 7.
// Any number of semitones is folded into the octave.
Degree usual_degree(int semitones_above);

}  // namespace undersong::harmony
