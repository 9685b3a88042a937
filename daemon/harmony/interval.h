// Degrees: where a note stands above a root, as musicians count it: 1, b9, 9, b3, 3, 11, #11, 5, b13, 13,
// b7, 7.
//
// Source: degree numbers of the major scale with flats and sharps, as in Harte, Sandler, Abdallah & Gomez
// (2005), "Symbolic representation of musical chords"; semitones of each number are those of the major scale.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace undersong::harmony {

// number 1..13, alter in semitones from the major scale's degree, -2..2.
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

// "b9", "#11", "5".
std::string text(Degree degree);
void append_text(std::string& out, Degree degree);
// The reverse; nullopt if it is no degree.
std::optional<Degree> parse_degree(std::string_view text);

// The plain name of an interval of 0..11 semitones above a root with no chord known: 1 b9 9 b3 3 11 #11 5 b13
// 13 b7 7.
Degree usual_degree(int semitones_above);

}  // namespace undersong::harmony
