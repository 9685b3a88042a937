// The form as a lead sheet in MusicXML 4.0: melody, chord symbols, rehearsal marks, repeats and endings.
//
// 480 divisions a quarter, one voice, treble clef. Accidentals stand where the signature and the bar so far
// don't say it. Ending texts follow the order in which they are played; where the last time ends like an
// earlier one and not like those between, its ending is written again, so that reading on is always right.
// Threads: pure. Total. Source: MusicXML 4.0 (W3C Community Group, 2021).
#pragma once

#include <string>

#include "daemon/song/form.h"

namespace undersong::song {

std::string lead_sheet(const Form& form);

}  // namespace undersong::song
