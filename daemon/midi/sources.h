// The list of all kinds of input. To add one, write a class derived from Source and give it a row in
// sources.cpp.
//
//   auto source = make_source("file", options, inputs);
//   if (source) (*source)->start();
//
// Notes that a client sends need no thread, so they are not a Source: the server asks Inputs for a lane
// directly.
//
// Threads: any; pure functions. The owner of the new Source follows the rules in source.h.
// Errors: make_source returns one sentence for an unknown kind.
// Source: none needed.
#pragma once

#include <memory>
#include <span>
#include <string_view>

#include "daemon/midi/file_source.h"
#include "daemon/midi/inputs.h"
#include "daemon/midi/ports_source.h"
#include "daemon/midi/source.h"

namespace undersong::midi {

struct SourceOptions {
  PortsOptions ports;
  FileOptions file;
  Say say;  // may be empty; see backend.h for its thread
};

// Errors: a kind that is not in the list, with the list.
Result<std::unique_ptr<Source>> make_source(std::string_view kind, const SourceOptions& options,
                                            Inputs& inputs);

}  // namespace undersong::midi
