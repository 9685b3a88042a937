// Names of notes: letter and accidentals, kept as a place on the line of fifths.
//
// ... Bb = -2, F = -1, C = 0, G = 1, D = 2 ...; seven steps up add a sharp. Transposing a name by an interval
// is an addition, so thirds stack on letters by themselves. Source: the line of fifths as in Temperley
// (2001), "The Cognition of Basic Musical Structures", ch. 5.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/harmony/interval.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

class NoteName {
 public:
  constexpr NoteName() = default;
  // fifths: place on the line of fifths, C = 0. Useful range -15 (Fbb) .. 19 (B##); others work but read
  // badly.
  constexpr explicit NoteName(int fifths) : fifths_(static_cast<std::int8_t>(fifths)) {}
  constexpr int fifths() const { return fifths_; }
  constexpr PitchClass pitch_class() const { return PitchClass(7 * fifths_); }
  // The note a degree above this one, by letters: the b3 above C is Eb, the #9 is D#.
  NoteName above(Degree degree) const;
  // The degree of `note` above this name, by letters, within one octave (number 1..7).
  Degree degree_to(NoteName note) const;
  friend constexpr auto operator<=>(NoteName, NoteName) = default;

 private:
  std::int8_t fifths_ = 0;
};

// "C", "F#", "Bb", "Ebb".
std::string text(NoteName name);
void append_text(std::string& out, NoteName name);
std::optional<NoteName> parse_note_name(std::string_view text);
// "G4": name and octave, middle C = C4; the octave follows the letter (Cb4 is key 59).
std::string text(NoteName name, Pitch pitch);
// The octave in that, -2..9.
int octave(NoteName name, Pitch pitch);

// The name without double accidentals of the same key: Bb for Cbb, G for F##, others as they are.
constexpr NoteName plain_name(NoteName name) {
  int fifths = name.fifths();
  while (fifths < -8) fifths += 12;  // Fb is the flattest with one flat,
  while (fifths > 12) fifths -= 12;  // B# the sharpest with one sharp
  return NoteName(fifths);
}

// The one spelling of a pitch class among the twelve consecutive fifths that start at `lowest`.
constexpr NoteName spell_within(PitchClass pc, int lowest) {
  // 7 * 7 = 49 = 1 mod 12, so the fifths of a pitch class are 7 * pc mod 12.
  const int base = (7 * pc.value() - lowest) % 12;
  return NoteName(lowest + (base < 0 ? base + 12 : base));
}

}  // namespace undersong::harmony
