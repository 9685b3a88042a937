// A form as a lead sheet in MusicXML 4.0: melody, chord symbols, rehearsal marks, repeats and endings.
//
// The sheet has one voice in the treble clef. Accidentals are written where they differ from the signature
// and from what came before in the bar. Endings appear in the order in which they are played. If the last
// time ends like an earlier time, its ending is written again at the end, so that a reader never has to go
// back.
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
