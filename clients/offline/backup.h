// Backup and restore of a file of takes that no daemon keeps takes in.
//
// Threads: the main thread only. Errors: one sentence on stderr; then nullopt, and `exit_code` is 1.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

namespace undersong::offline {

// How large the copy is, in bytes.
std::optional<std::uint64_t> back_up_file(const std::string& takes, const std::string& to, int& exit_code);
// Where the file that was there is kept.
std::optional<std::string> restore_file(const std::string& takes, const std::string& from, int& exit_code);

}  // namespace undersong::offline
