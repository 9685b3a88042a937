#include "daemon/harmony/spelling.h"

#include <array>

namespace undersong::harmony {
namespace {

// Place of the degree on the line of fifths, seen from the root: 5 is one up, 4 one down, each sharp seven
// up.
constexpr int fifths_of(Degree degree) {
  constexpr std::array<int, 7> kMajorScale{0, 2, 4, -1, 1, 3, 5};
  return kMajorScale[(degree.number - 1) % 7] + 7 * degree.alter;
}
constexpr std::string_view kLetters = "FCGDAEB";

constexpr int floor_div(int a, int b) {
  return a >= 0 ? a / b : -((-a + b - 1) / b);
}

}  // namespace

NoteName NoteName::above(Degree degree) const {
  return NoteName(fifths_ + fifths_of(degree));
}

Degree NoteName::degree_to(NoteName note) const {
  const int distance = note.fifths() - fifths_;
  const int alter = floor_div(distance + 1, 7);  // naturals of the major scale span -1..5
  static constexpr std::array<int, 7> kNumber{4, 1, 5, 2, 6, 3, 7};
  return {static_cast<std::int8_t>(kNumber[static_cast<std::size_t>(distance + 1 - 7 * alter)]),
          static_cast<std::int8_t>(alter)};
}

void append_text(std::string& out, NoteName name) {
  const int accidentals = floor_div(name.fifths() + 1, 7);
  out += kLetters[static_cast<std::size_t>(name.fifths() + 1 - 7 * accidentals)];
  out.append(static_cast<std::size_t>(accidentals < 0 ? -accidentals : accidentals),
             accidentals < 0 ? 'b' : '#');
}

std::string text(NoteName name) {
  std::string out;
  append_text(out, name);
  return out;
}

std::optional<NoteName> parse_note_name(std::string_view text) {
  if (text.empty()) return std::nullopt;
  const auto letter = kLetters.find(text.front());
  if (letter == std::string_view::npos) return std::nullopt;
  int fifths = static_cast<int>(letter) - 1;
  for (char c : text.substr(1)) {
    if (c != 'b' && c != '#') return std::nullopt;
    fifths += c == '#' ? 7 : -7;
  }
  if (fifths < -100 || fifths > 100) return std::nullopt;
  return NoteName(fifths);
}

int octave(NoteName name, Pitch pitch) {
  const int accidentals = floor_div(name.fifths() + 1, 7);
  return floor_div(pitch.value() - accidentals, 12) - 1;
}

std::string text(NoteName name, Pitch pitch) {
  return text(name) + std::to_string(octave(name, pitch));
}

}  // namespace undersong::harmony
