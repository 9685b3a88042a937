// undersong: the terminal client. Live commands speak to the daemon; commands on files need none.
#include <CLI/CLI.hpp>
#include <iostream>

#include "clients/offline/commands.h"
#include "clients/terminal/commands.h"

int main(int argc, char** argv) {
  CLI::App program{
      "Undersong listens while you play: it names the harmony, ranks what else could stand under the melody, "
      "and keeps every take."};
  program.require_subcommand(1);
  undersong::terminal::Session session;
  undersong::terminal::add_commands(program, session);
  undersong::offline::add_commands(program, session.exit_code);
  try {
    program.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == static_cast<int>(CLI::ExitCodes::Success)) return program.exit(error);
    std::string sentence = error.what();
    if (!sentence.empty() && sentence.back() != '.') sentence += '.';
    std::cerr << "undersong: " << sentence << '\n';
    return 2;
  }
  return session.exit_code;
}
