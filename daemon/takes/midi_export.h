// A take as a standard MIDI file: the notes as played, one track for each input, and marks as markers.
//
// Units: time 0 of the file is the beginning of the take. The tempo is always 120 bpm, so that the file plays
// at the speed of the take.
// Threads: pure; call it from any thread.
// Errors: one sentence if the take is longer than a MIDI file can be.
// Source: Standard MIDI Files 1.0.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/takes/store.h"

namespace undersong::takes {

Result<std::vector<std::uint8_t>> standard_midi_file(const Store::Midi& take);

}  // namespace undersong::takes
