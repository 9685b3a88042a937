// A form as a lead sheet in MusicXML 4.0: melody, chord symbols, rehearsal marks, repeats and endings.
//
// The sheet has one voice in the treble clef; sheet.h says how it is written. Parts without a tune have
// slashes.
//
// Units: 480 divisions per quarter note.
// Threads: pure; call it from any thread.
// Errors: none; the function is total.
// Source: MusicXML 4.0 (W3C Community Group, 2021).
#pragma once

#include <string>

#include "daemon/song/form.h"

namespace undersong::song {

std::string lead_sheet(const Form& form);

}  // namespace undersong::song
