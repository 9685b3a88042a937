// Chords as text: the symbol for people and the Harte form for programs, and functions that read both.
//
// Units: none.
// Threads: pure functions; call them from any thread.
// Errors: functions that read return nullopt for text that is not a chord.
// Source: Harte, Sandler, Abdallah & Gomez (2005) for the Harte form; shorthands such as 11 and 13 are read
// as in JAMS and mir_eval. Symbols: common practice, no source.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

// The style of symbols: letters (Cm7, Cmaj7, Cm7b5) or signs (C-7, CΔ7, Cø7). Accidentals are written b and
// #.
enum class SymbolStyle : std::uint8_t { kLetters, kSigns };

// The part of a symbol after the root, as musicians write it: the sign of the triad beside the letter, and
// the rest raised. For example m|7b5, |maj7, dim|7; with signs -|7, Δ|7, ø|7. Either may be empty. Joined,
// they are the text of the vocabulary row in that style.
struct Suffix {
  std::string_view beside, raised;
};
Suffix suffix(Quality quality, SymbolStyle style);

// `root` is the name of the root. A bass that is a chord tone is spelled by its degree: E/G#, B/D#. Any other
// bass, and one that would need two accidentals, is spelled plainly: F#/C, Db/A, Cdim7/A.
void append_symbol(std::string& out, const Chord& chord, NoteName root, SymbolStyle style);
void append_harte(std::string& out, const Chord& chord, NoteName root);
std::string symbol(const Chord& chord, NoteName root, SymbolStyle style = SymbolStyle::kLetters);
NoteName bass_name(const Chord& chord, NoteName root);
// The name of a note in this chord: the bass as in the symbol, any other note by its degree, without double
// accidentals.
NoteName name_in(const Chord& chord, NoteName root, PitchClass note);
std::string harte(const Chord& chord, NoteName root);

// A chord read from Harte syntax, as the nearest row of the vocabulary.
struct ParsedChord {
  // The quality is the row with the same tones, or else the nearest with the same third, fifth and seventh.
  Chord chord;
  NoteName root;
  bool exact = false;  // true if the row has exactly the tones that were written
};
// nullopt for "N", "X" and text that is not Harte syntax.
std::optional<ParsedChord> parse_harte(std::string_view text);

// Reads a symbol as `symbol` writes it, in letters or signs: C, Am9, Bb7#11, C/E, F#-7/B. Knows only the rows
// of the vocabulary.
std::optional<ParsedChord> parse_symbol(std::string_view text);
// Reads either form; text with a colon is Harte syntax.
std::optional<ParsedChord> parse_chord(std::string_view text);

}  // namespace undersong::harmony
