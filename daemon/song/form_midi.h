// A written form as a standard MIDI file, format 1, in a steady tempo: what musicians play along to.
//
// Tracks: tempo, signatures (of key: wherever it changes) and a marker for each part; "melody"; "chords" with
// chord names as text events; "bass roots"; "string pad" in four. Every time round is written out, endings
// and all; a layer that is silent in a part has rests there. 960 ticks a quarter. Threads: pure. Errors:
// Result, a form longer than a MIDI file can be. Source: Standard MIDI Files 1.0; General MIDI program
// numbers.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/song/hand_over.h"

namespace undersong::song {

Result<std::vector<std::uint8_t>> form_midi(const Form& form);

// song.mid, lead_sheet.musicxml, chart.txt.
Result<Folder> hand_over_form(const Form& form);

}  // namespace undersong::song
