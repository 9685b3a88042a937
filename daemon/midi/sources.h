// THE list of the kinds of input: to add one, write a class that is a Source and give it a row in
// sources.cpp.
//
// (The notes a client sends come through a lane that the server asks of Inputs itself; they need no thread,
// so they are no Source.) Threads: pure functions.
#pragma once

#include <memory>
#include <span>
#include <string_view>

#include "daemon/midi/file_source.h"
#include "daemon/midi/inputs.h"
#include "daemon/midi/rtmidi_source.h"
#include "daemon/midi/source.h"

namespace undersong::midi {

struct SourceOptions {
  PortsOptions ports;
  FileOptions file;
  Say say;  // may be empty
};

// Errors: a kind that is not in the list, with the list.
Result<std::unique_ptr<Source>> make_source(std::string_view kind, const SourceOptions& options,
                                            Inputs& inputs);

}  // namespace undersong::midi
