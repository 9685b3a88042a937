// JackEars: listens to ports of a JACK server (or PipeWire's) through RtMidi.
//
// Threads: as in ears.h. RtMidi calls back on JACK's thread; that is real-time safe: no lock, no allocation,
// no logging. `backend` outlives it. Errors: one sentence if the server has gone since `backend` was opened;
// then as in ears.h. Source: RtMidi.
#pragma once

#include <memory>

#include "daemon/midi/backend.h"
#include "daemon/midi/ears.h"

namespace undersong::midi {

Result<std::unique_ptr<Ears>> jack_ears(Backend& backend, const std::string& client_name, bool pass_clock);

}  // namespace undersong::midi
