// Sheet music in MusicXML 4.0: one staff or several, each with its own notes over the same form.
//
//   const Staff staves[] = {{.name = "Melody", .form = &form}, {.name = "Bass", .clef = Clef::kBass, .form =
//   &bass}}; write_sheet("Evening rounds", staves);
//
// What a staff plays is the `melody` of its form, in one voice; all forms of a sheet have the same parts,
// repeats and endings. The topmost staff has the rehearsal marks, the tempo and the words. Accidentals are
// written where they differ from the signature and from what came before in the bar. Endings appear in the
// order in which they are played. If the last time ends like an earlier time, its ending is written again at
// the end, so that a reader never has to go back. Where a chord symbol begins within a long note or rest, the
// note is split and tied, because readers place a symbol by the note it stands before.
//
// A form may begin with a pickup, a bar with the number 0. Compound metres are written as such: 6/8 with
// beats of dotted quarters (meter.h).
//
// Units: 480 divisions per quarter note.
// Threads: pure; call it from any thread.
// Errors: none; the function is total.
// Source: MusicXML 4.0 (W3C Community Group, 2021).
#pragma once

#include <span>
#include <string>

#include "daemon/song/form.h"

namespace undersong::song {

enum class Clef : std::uint8_t { kTreble, kAlto, kBass };
enum class Group : std::uint8_t { kNone, kBracket, kBrace };  // neighbouring staves of one group are joined

// How an instrument sounds against what is written for it: a trumpet in B flat a whole tone lower. The form
// of the staff has the written pitches, except for whole octaves, which are applied here.
struct Transposition {
  int steps = 0, semitones = 0, octaves = 0;
  friend bool operator==(const Transposition&, const Transposition&) = default;
};

struct Staff {
  std::string name, abbreviation{};
  Clef clef = Clef::kTreble;
  Group group = Group::kNone;
  Transposition sounds{};
  bool chord_symbols = true;
  int bars_a_line = 0;  // counted from each section; 0: as the reader lays it out
  bool kicks =
      false;  // changes between two beats are written above the staff, where the staff does not have them
  const Form* form = nullptr;  // must outlive the call
};

std::string write_sheet(const std::string& title, std::span<const Staff> staves);

}  // namespace undersong::song
