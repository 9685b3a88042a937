// undersong: the terminal client. Live commands speak to the daemon; commands on files need none.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <iostream>

#include "clients/offline/commands.h"

int main(int argc, char** argv) {
  CLI::App program{"Undersong listens while you play: it names the harmony, ranks what else could stand under the melody, "
                   "and keeps every take."};
  program.require_subcommand(1);
  int exit_code = 0;
  undersong::offline::add_commands(program, exit_code);
  try {
    program.parse(argc, argv);
  } catch (const CLI::CallForHelp& help) {
    return program.exit(help);
  } catch (const CLI::CallForAllHelp& help) {
    return program.exit(help);
  } catch (const CLI::ParseError& error) {
    std::cerr << "undersong: " << error.what() << '\n';
    return 2;
  }
  return exit_code;
}
