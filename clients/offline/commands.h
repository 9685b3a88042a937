// Commands on files: they call the core directly and need no daemon.
#pragma once

#include <CLI/CLI.hpp>

namespace undersong::offline {

// Adds analyse, colour, hand-over, loop, name, rank, reharmonise, sketch and spell to the program. A command
// that runs sets `exit_code`: 0, or 1 after one sentence on stderr.
void add_commands(CLI::App& program, int& exit_code);

void add_analyse(CLI::App& program, int& exit_code);
void add_colour(CLI::App& program, int& exit_code);
void add_hand_over(CLI::App& program, int& exit_code);
void add_loop(CLI::App& program, int& exit_code);
void add_name(CLI::App& program, int& exit_code);
void add_rank(CLI::App& program, int& exit_code);
void add_reharmonise(CLI::App& program, int& exit_code);
void add_sketch(CLI::App& program, int& exit_code);
void add_spell(CLI::App& program, int& exit_code);

}  // namespace undersong::offline
