// Finds the loop of a MIDI file, for the commands that start from a loop.
//
// Units: Micros from the beginning of the file.
// Threads: any thread; it reads a file and prints to stderr.
// Errors: nullopt after one sentence on stderr.
#pragma once

#include <optional>
#include <string>

#include "clients/offline/beat_options.h"
#include "daemon/takes/study.h"

namespace undersong::offline {

// `file`: path of a standard MIDI file. `beat`: what was said of its beat. The returned study has a loop.
std::optional<takes::Study> hear_loop(const std::string& file, const BeatOptions& beat = {});

}  // namespace undersong::offline
