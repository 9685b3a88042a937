// The option of every hand-over that says how the string section plays.
//
// Threads: the main thread only.
// Errors: another word is refused while the options are parsed.
#pragma once

#include <CLI/CLI.hpp>
#include <map>
#include <string>

namespace undersong {

// `Style`: an enum with kStill, kMoving and kChorale. `wish` must stay valid until the options have been
// parsed.
template <class Style, class Wish>
void add_strings_option(CLI::App& command, Wish& wish) {
  static const std::map<std::string, Style> kWords{
      {"still", Style::kStill}, {"moving", Style::kMoving}, {"chorale", Style::kChorale}};
  command
      .add_option_function<std::string>(
          "--strings", [&wish](const std::string& word) { wish = kWords.at(word); },
          "how the strings play: still (the default) holds what it can, moving lets an inner voice move, "
          "chorale strikes every chord")
      ->check(CLI::IsMember({"still", "moving", "chorale"}));
}

inline void add_divisi_option(CLI::App& command, bool& divisi) {
  command.add_flag("--divisi", divisi,
                   "violins I and violas divide where the chord has a tone that nobody plays");
}

}  // namespace undersong
