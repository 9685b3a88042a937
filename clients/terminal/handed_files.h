// A folder for files the daemon hands over. Errors: one sentence with the path.
#pragma once

#include <optional>
#include <string>

#include "protocol/connection.h"

namespace undersong::terminal {

// Whether files may go there: a folder that is empty or not there yet, or any folder with `force`. Ask before
// the daemon works.
std::optional<protocol::Problem> unfit_for_files(const std::string& directory, bool force);
// Makes the folder, writes the files and prints each with its size, then the remarks.
std::optional<protocol::Problem> write_files(const protocol::HandedOver& made, const std::string& directory);

}  // namespace undersong::terminal
