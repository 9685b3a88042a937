#include "clients/terminal/meant.h"

#include <fmt/format.h>

#include <algorithm>

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
  for (const CLI::App* command : app.get_subcommands({})) out.push_back(command->get_name());
  return out;
}

std::vector<std::string> option_names(const CLI::App& app) {
  std::vector<std::string> out;
  for (const CLI::Option* option : app.get_options())
    for (const std::string& name : option->get_lnames()) out.push_back("--" + name);
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
      if (std::find(names.begin(), names.end(), word) != names.end()) {
        app = app->get_subcommand(word);
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

}  // namespace undersong::terminal
