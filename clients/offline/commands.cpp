#include "clients/offline/commands.h"

namespace undersong::offline {

void add_commands(CLI::App& program, int& exit_code) {
  add_analyse(program, exit_code);
  add_colour(program, exit_code);
  add_find(program, exit_code);
  add_hand_over(program, exit_code);
  add_loop(program, exit_code);
  add_name(program, exit_code);
  add_rank(program, exit_code);
  add_reharmonise(program, exit_code);
  add_sketch(program, exit_code);
  add_spell(program, exit_code);
}

}  // namespace undersong::offline
