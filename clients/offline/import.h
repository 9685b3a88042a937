// Bringing files into a file of takes that no daemon keeps takes in.
//
// The file is locked as by a daemon, so that two programs never number lines at once. Each take is one
// transaction: if the program is killed, what was written stays.
//
// Threads: the main thread only. Errors: one sentence on stderr; then null, and `exit_code` is 1.
#pragma once

#include <memory>
#include <string>

#include "clients/files_into.h"

namespace undersong::offline {

std::unique_ptr<FilesInto> open_for_files(const std::string& takes, int& exit_code);

}  // namespace undersong::offline
