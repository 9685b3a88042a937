// The commands that work on files. They call the core directly and need no daemon.
//
// Threads: the main thread only, before and while the program's options are parsed.
// Errors: a command that fails prints one sentence on stderr and sets `exit_code` to 1.
#pragma once

#include <CLI/CLI.hpp>

namespace undersong::offline {

// Adds all of the commands below to the program. A command that runs sets `exit_code`: 0, or 1 after one
// sentence on stderr. The references must stay valid until the program's options have been parsed.
void add_commands(CLI::App& program, int& exit_code);

void add_analyse(CLI::App& program, int& exit_code);
void add_colour(CLI::App& program, int& exit_code);
void add_find(CLI::App& program, int& exit_code);
void add_hand_over(CLI::App& program, int& exit_code);
void add_loop(CLI::App& program, int& exit_code);
void add_name(CLI::App& program, int& exit_code);
void add_rank(CLI::App& program, int& exit_code);
void add_reharmonise(CLI::App& program, int& exit_code);
void add_sketch(CLI::App& program, int& exit_code);
void add_spell(CLI::App& program, int& exit_code);

}  // namespace undersong::offline
