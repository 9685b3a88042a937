// Says which command or option somebody probably meant: "lsit" is not known; did you mean list?
//
// Threads: main thread.
// Errors: none.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace undersong::terminal {

// One sentence about the first word of the command line that no command or option accepts, or empty if every
// word is accepted. `words`: the command line without the name of the program.
std::string meant(const CLI::App& program, const std::vector<std::string>& words);

// What a command line lacks, in one sentence with the words of the help: "`undersong import` needs FILES:
// ...". Empty if nothing is missing. To be called after the program has refused the words.
std::string missing(const CLI::App& program, const std::vector<std::string>& words);
// True for `song new FILE.mid` and the like: names of songs have neither dots nor slashes, so it means a
// file.
bool means_files(const std::vector<std::string>& words);

}  // namespace undersong::terminal
