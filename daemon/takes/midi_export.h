// A take as a standard MIDI file: the notes as they were played, a track for each input, marks as markers.
//
// Time 0 of the file is the beginning of the take; 120 bpm, so that it plays at its own speed.
// Threads: pure. Errors: Result, a take longer than a MIDI file can be.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/store.h"

namespace undersong::takes {

Result<std::vector<std::uint8_t>> standard_midi_file(const Store::Midi& take);

}  // namespace undersong::takes
