// Names of notes: letter and accidentals, stored as a place on the line of fifths.
//
//   text(NoteName(-2));                     // "Bb"
//   NoteName(0).above(Degree{3, -1});       // Eb, the b3 above C
//
// ... Bb = -2, F = -1, C = 0, G = 1, D = 2 ...; seven steps up add a sharp. Transposing a name by an interval
// is an addition, so the letters of stacked thirds come out right by themselves.
//
// Units: places on the line of fifths, C = 0.
// Threads: any; plain values and pure functions. Those that return text allocate.
// Errors: parse_note_name returns nullopt; the rest is total.
// Source: the line of fifths as in Temperley (2001), "The Cognition of Basic Musical Structures", ch. 5.
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
  // `fifths`: place on the line of fifths, C = 0. The useful range is -15 (Fbb) .. 19 (B##); other values
  // work but are hard to read.
  constexpr explicit NoteName(int fifths) : fifths_(static_cast<std::int8_t>(fifths)) {}
  constexpr int fifths() const { return fifths_; }
  constexpr PitchClass pitch_class() const { return PitchClass(7 * fifths_); }
  // The note that lies a degree above this one, by letters: the b3 above C is Eb, the #9 is D#.
  NoteName above(Degree degree) const;
  friend constexpr auto operator<=>(NoteName, NoteName) = default;

 private:
  std::int8_t fifths_ = 0;
};

// The name as text: "C", "F#", "Bb", "Ebb".
std::string text(NoteName name);
void append_text(std::string& out, NoteName name);
// Reads such a text; nullopt if it is not a note name.
std::optional<NoteName> parse_note_name(std::string_view text);
// Name and octave: "G4", middle C is C4. The octave follows the letter: Cb4 is key 59.
std::string text(NoteName name, Pitch pitch);
// The octave in that, -2..9.
int octave(NoteName name, Pitch pitch);

// The name of the same key without double accidentals: Bb for Cbb, G for F##; other names stay.
constexpr NoteName plain_name(NoteName name) {
  int fifths = name.fifths();
  while (fifths < -8) fifths += 12;  // Fb is the flattest name with one flat
  while (fifths > 12) fifths -= 12;  // B# is the sharpest name with one sharp
  return NoteName(fifths);
}

// The only name of a pitch class among the twelve consecutive fifths that start at `lowest`.
constexpr NoteName spell_within(PitchClass pc, int lowest) {
  // 7 * 7 = 49 = 1 mod 12, so the fifths of a pitch class are 7 * pc mod 12.
  const int base = (7 * pc.value() - lowest) % 12;
  return NoteName(lowest + (base < 0 ? base + 12 : base));
}

}  // namespace undersong::harmony
