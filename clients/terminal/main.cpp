// undersong: the terminal client. Commands about the daemon connect to it; commands on files work without it.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <iostream>
#include <string>
#include <vector>

#include "clients/offline/backup.h"
#include "clients/offline/commands.h"
#include "clients/offline/import.h"
#include "clients/terminal/commands.h"
#include "clients/terminal/meant.h"
#include "protocol/messages.h"

int main(int argc, char** argv) {
  namespace terminal = undersong::terminal;
  CLI::App program{
      "Undersong listens while you play. It names the chord, lists other chords that fit under the melody, "
      "and records every take."};
  program.require_subcommand(1);
  program.set_version_flag("--version", "undersong " UNDERSONG_VERSION ", protocol " +
                                            std::to_string(undersong::protocol::kProtocolVersion));
  undersong::terminal::Session session;
  session.back_up_file = [&](const std::string& takes, const std::string& to) {
    return undersong::offline::back_up_file(takes, to, session.exit_code);
  };
  session.restore_file = [&](const std::string& takes, const std::string& from) {
    return undersong::offline::restore_file(takes, from, session.exit_code);
  };
  session.open_for_files = [&](const std::string& takes) {
    return undersong::offline::open_for_files(takes, session.exit_code);
  };
  undersong::terminal::add_commands(program, session);
  undersong::offline::add_commands(program, session.exit_code);
  // `song` stands for songs that the daemon keeps, and for files with a song; the latter are read without a
  // daemon.
  std::vector<std::string> words(argv + 1, argv + argc);
  if (terminal::means_files(words)) *std::find(words.begin(), words.end(), "song") = "sketch";
  try {
    program.parse(std::vector<std::string>(words.rbegin(), words.rend()));
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == static_cast<int>(CLI::ExitCodes::Success)) return program.exit(error);
    std::string sentence = terminal::meant(program, words);
    if (sentence.empty() && dynamic_cast<const CLI::RequiredError*>(&error) != nullptr)
      sentence = terminal::missing(program, words);
    if (sentence.empty()) sentence = error.what();
    if (!sentence.empty() && sentence.back() != '?' && sentence.back() != '.') sentence += '.';
    std::cerr << "undersong: " << sentence << '\n';
    return 2;
  }
  return session.exit_code;
}
