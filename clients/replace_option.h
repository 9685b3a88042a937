// --replace: the one word of all commands that write over something that exists. Its earlier name, --force,
// still works.
//
// Threads: main thread.
// Errors: none.
#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace undersong {

inline void add_replace_option(CLI::App& command, bool& replace, const std::string& says) {
  command.add_flag("--replace", replace, says);
  command.add_flag("--force", replace, says)->group("");  // not in the help
}

inline constexpr const char* kIntoFullFolder =
    "write into a folder that is not empty, over files of the same name";

}  // namespace undersong
