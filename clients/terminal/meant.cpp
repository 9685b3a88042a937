#include "clients/terminal/meant.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "protocol/nearest.h"

namespace undersong::terminal {
namespace {

std::string sentence(const std::string& kind, const std::string& word, const std::string& where,
                     const std::vector<std::string>& known) {
  const std::vector<std::string_view> views(known.begin(), known.end());
  const auto close = protocol::nearest(word, views);
  return fmt::format("There is no {} \"{}\"{}{}", kind, word,
                     close ? fmt::format("; did you mean {}?", *close) : std::string("."),
                     close ? "" : fmt::format(" `{} --help` lists what there is.", where));
}

std::vector<std::string> command_names(const CLI::App& app) {
  std::vector<std::string> out;
  for (const CLI::App* command : app.get_subcommands({}))
    if (!command->get_group().empty()) out.push_back(command->get_name());  // earlier names are not proposed
  return out;
}

// The command of this name, also one that the help does not show; null if there is none.
const CLI::App* command_of(const CLI::App& app, const std::string& name) {
  for (const CLI::App* command : app.get_subcommands({}))
    if (command->get_name() == name) return command;
  return nullptr;
}

std::vector<std::string> option_names(const CLI::App& app) {
  std::vector<std::string> out;
  for (const CLI::Option* option : app.get_options()) {
    if (option->get_group().empty()) continue;
    for (const std::string& name : option->get_lnames()) out.push_back("--" + name);
  }
  return out;
}

bool takes_places(const CLI::App& app) {
  for (const CLI::Option* option : app.get_options())
    if (option->get_positional()) return true;
  return false;
}

}  // namespace

std::string meant(const CLI::App& program, const std::vector<std::string>& words) {
  const CLI::App* app = &program;
  std::string path = "undersong";
  for (std::size_t i = 0; i < words.size(); ++i) {
    const std::string& word = words[i];
    if (word == "--") break;
    if (word.starts_with("--")) {
      const std::string name = word.substr(0, word.find('='));
      const CLI::Option* option = app->get_option_no_throw(name);
      if (!option && app != &program) option = program.get_option_no_throw(name);
      if (!option) return sentence("option", name, path, option_names(*app));
      // What follows belongs to the option.
      if (word.find('=') == std::string::npos)
        i += static_cast<std::size_t>(option->get_items_expected_min());
    } else if (!word.starts_with("-")) {
      const auto names = command_names(*app);
      if (const CLI::App* command = command_of(*app, word)) {
        app = command;
        path += " " + word;
      } else if (!takes_places(*app) && !app->get_subcommands({}).empty()) {
        return sentence("command", word, path, names);
      } else {
        break;  // it is an argument, and what follows may be one too
      }
    }
  }
  return {};
}

std::string missing(const CLI::App& program, const std::vector<std::string>& words) {
  const CLI::App* app = &program;
  std::string path = "undersong";
  for (const std::string& word : words) {
    const CLI::App* command = command_of(*app, word);
    if (command == nullptr) continue;
    app = command;
    path += " " + word;
  }
  for (const CLI::Option* option : app->get_options()) {
    if (!option->get_required() || option->count() > 0) continue;
    const std::string name = option->get_positional() ? option->get_name(true) : option->get_name();
    return fmt::format("`{}` needs {}: {}.", path, name, option->get_description());
  }
  if (app->get_require_subcommand_min() > 0)
    return fmt::format("`{}` needs one of {}.", path, fmt::join(command_names(*app), ", "));
  return {};
}

bool means_files(const std::vector<std::string>& words) {
  const auto song = std::find_if(words.begin(), words.end(),
                                 [](const std::string& word) { return !word.starts_with("-"); });
  if (song == words.end() || *song != "song" || words.end() - song < 3) return false;
  static constexpr std::array<std::string_view, 4> kOfFiles{"new", "check", "grow", "hand-over"};
  if (std::find(kOfFiles.begin(), kOfFiles.end(), song[1]) == kOfFiles.end()) return false;
  return song[2].find_first_of("./") != std::string::npos && !song[2].starts_with("-");
}

}  // namespace undersong::terminal
