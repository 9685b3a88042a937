// Writes the files of a hand-over into a folder.
//
// Units: none.
// Threads: main thread.
// Errors: one sentence with the path.
#pragma once

#include <optional>
#include <string>

#include "protocol/connection.h"

namespace undersong::terminal {

// Checks that the files may be written there: the folder is empty or does not exist, or `replace` is set.
// Returns what is wrong. Call it before the daemon does the work.
std::optional<protocol::Problem> unfit_for_files(const std::string& directory, bool replace);
// Creates the folder, writes the files, prints each path with its size, then prints the remarks.
std::optional<protocol::Problem> write_files(const protocol::HandedOver& made, const std::string& directory);

}  // namespace undersong::terminal
