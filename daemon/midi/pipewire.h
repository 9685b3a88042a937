// PipeWire speaks JACK's protocol of programs with a library of its own, which Debian keeps beside the one of
// the JACK server. A program that was started with the server's library finds no PipeWire.
//
//   use_pipewire_jack(argv);   // first thing in main: starts the program again with PipeWire's library if
//   needed
//
// Threads: call use_pipewire_jack before any other thread exists; the rest from any thread.
// Errors: none; where something is missing, nothing happens.
// Source: pw-jack(1), which does the same by hand.
#pragma once

#include <string>

namespace undersong::midi {

// Starts this program again with PipeWire's library if PipeWire runs, that library is installed, and neither
// ALSA's sequencer nor a JACK server can be used. Returns if nothing of that is needed. `jack_only`: never
// mind ALSA.
void use_pipewire_jack(char** argv, bool jack_only);

// If PipeWire runs and we could not use it: one sentence that says the one thing to do, with a space in
// front. Otherwise empty.
std::string what_pipewire_lacks();

}  // namespace undersong::midi
