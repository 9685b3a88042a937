// Chords as text: the symbol for people and the Harte form for programs, and reading the Harte form.
//
// Source: Harte, Sandler, Abdallah & Gomez (2005); the shorthands 11, 13 and their kin are read as in
// JAMS/mir_eval.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

// How symbols look: letters (Cm7, Cmaj7, Cm7b5) or signs (C-7, CΔ7, Cø7). Accidentals are written b and #.
enum class SymbolStyle : std::uint8_t { kLetters, kSigns };

// What a symbol says after the root, in the two parts a musician writes: the sign of the triad beside the
// letter, and the rest raised. m|7b5, |maj7, dim|7; with signs -|7, Δ|7, ø|7. Either may be empty; one after
// the other they are the row's text in that style.
struct Suffix {
  std::string_view beside, raised;
};
Suffix suffix(Quality quality, SymbolStyle style);

// `root` names the chord's root. A bass that is a tone of the chord is spelled by its degree; any other
// plainly, as is one that would take two accidentals: E/G#, B/D#, but F#/C, Db/A and Cdim7/A.
void append_symbol(std::string& out, const Chord& chord, NoteName root, SymbolStyle style);
void append_harte(std::string& out, const Chord& chord, NoteName root);
std::string symbol(const Chord& chord, NoteName root, SymbolStyle style = SymbolStyle::kLetters);
NoteName bass_name(const Chord& chord, NoteName root);
// What a note is called in this chord: the bass as in the symbol, any other by its degree, without double
// accidentals.
NoteName name_in(const Chord& chord, NoteName root, PitchClass note);
std::string harte(const Chord& chord, NoteName root);

// A chord read from Harte syntax: the nearest row of the vocabulary, and the exact degrees.
struct ParsedChord {
  Chord chord;  // quality: the row with the same tones, or else the nearest of the same third, fifth and
                // seventh
  NoteName root;
  bool exact = false;  // the row has exactly the tones that were written
};
// nullopt for "N", "X" and what is not Harte syntax.
std::optional<ParsedChord> parse_harte(std::string_view text);

// A chord read from a symbol as `symbol` writes it, in letters or signs: C, Am9, Bb7#11, C/E, F#-7/B. Only
// rows of the vocabulary are known.
std::optional<ParsedChord> parse_symbol(std::string_view text);
// Whichever of the two it is: Harte syntax has a colon.
std::optional<ParsedChord> parse_chord(std::string_view text);

}  // namespace undersong::harmony
