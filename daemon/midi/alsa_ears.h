// AlsaEars: listens to ports of ALSA's sequencer.
//
// It uses the sequencer itself instead of RtMidi, because four things are needed that RtMidi does not give: a
// larger pool of incoming messages, word of messages that were lost, the port that a message comes from, and
// word of ports that come and go, so that nobody has to look for them again and again.
//
// A keyboard that somebody has also connected to our own input is heard once: messages that come there from a
// port that we listen to anyway are left out. The kernel discards its whole pool when it is full; then every
// input has lost messages (Notice::kLost). The time of a message is when it was read, in a thread of the
// real-time class where the system permits it.
//
// Threads: as in ears.h. Messages are read on a thread of its own ("midi-in"), which takes no lock, allocates
// nothing and logs nothing. `poke` is called on that thread when a port came or went or messages were lost.
// Errors: one sentence if the sequencer cannot be opened.
// Source: ALSA sequencer API of alsa-lib.
#pragma once

#include <functional>
#include <memory>

#include "daemon/base/result.h"
#include "daemon/midi/ears.h"

namespace undersong::midi {

Result<std::unique_ptr<Ears>> alsa_ears(const std::string& client_name, bool pass_clock,
                                        std::function<void()> poke);

}  // namespace undersong::midi
