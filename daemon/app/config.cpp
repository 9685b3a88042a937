#include "daemon/app/config.h"

#include <fmt/format.h>

#include <pwd.h>
#include <toml++/toml.h>
#include <unistd.h>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <limits>
#include <span>
#include <sstream>
#include <utility>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::app {
namespace {

// Completes a sentence that begins with the name of the option: "must be ...".
using Problem = std::optional<std::string>;

Problem integer(const toml::node& node, std::int64_t low, std::int64_t high,
                const std::function<void(std::int64_t)>& use) {
  const auto* value = node.as_integer();
  if (!value || **value < low || **value > high)
    return fmt::format("must be a whole number from {} to {}", low, high);
  use(**value);
  return std::nullopt;
}
Problem real(const toml::node& node, double low, double high, float& out) {
  const auto value = node.value<double>();
  if (!node.is_number() || !value || !(*value >= low && *value <= high))
    return fmt::format("must be a number from {} to {}", low, high);
  out = static_cast<float>(*value);
  return std::nullopt;
}
Problem text(const toml::node& node, const std::function<Problem(const std::string&)>& use) {
  const auto* value = node.as_string();
  if (!value) return "must be a text in quotes";
  return use(**value);
}
Problem one_of(const toml::node& node, std::span<const std::string_view> words, std::string& out) {
  return text(node, [&](const std::string& value) -> Problem {
    for (std::string_view word : words)
      if (word == value) {
        out = value;
        return std::nullopt;
      }
    return fmt::format("must be one of {}", fmt::join(words, ", "));
  });
}

using live::SettingName;

// One option. `set` reads its value. An option that clients can change is also written: `text` returns it as
// a TOML value that `set` can read.
struct Option {
  std::string_view table, name;
  Problem (*set)(Config&, const toml::node&);
  std::optional<SettingName> setting{};
  std::string (*text)(const live::Settings&) = nullptr;
};

// In the order of listen::Under and of harmony::SymbolStyle.
constexpr std::array<std::string_view, 3> kMelodySpans{"note", "two", "bar"};
constexpr std::array<std::string_view, 2> kSymbolStyles{"letters", "signs"};
constexpr std::array<std::string_view, 5> kLeans{"found", "songbook", "pop", "jazz",
                                                 "own"};                           // of listen::Lean
constexpr std::array<std::string_view, 3> kCarries{"nothing", "bass", "voicing"};  // of live::Carries
constexpr std::array<std::string_view, 5> kLogLevels{"trace", "debug", "info", "warn", "error"};

std::string toml_real(float value) {
  return fmt::format("{}", std::round(static_cast<double>(value) * 1e4) / 1e4);
}  // so that .1f is written as 0.1
std::string toml_text(std::string_view value) {
  std::ostringstream out;
  out << toml::value<std::string>(std::string(value));
  return out.str();
}

// All options, one row each. configs/undersong.toml explains them.
constexpr std::array kOptions = {
    Option{"midi", "inputs",
           [](Config& c, const toml::node& node) -> Problem {
             const auto* list = node.as_array();
             if (!list) return "must be a list of names";
             for (const auto& item : *list) {
               if (!item.is_string()) return "must be a list of names";
               c.inputs.push_back(**item.as_string());
             }
             return std::nullopt;
           }},
    Option{"midi", "service",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               const auto kind = midi::parse_backend(value);
               if (!kind) return "must be one of auto, alsa, jack";
               c.service = *kind;
               return std::nullopt;
             });
           }},
    Option{"midi", "virtual_input",
           [](Config& c, const toml::node& node) -> Problem {
             if (!node.is_boolean()) return "must be true or false";
             c.virtual_input = **node.as_boolean();
             return std::nullopt;
           }},
    Option{"listen", "melody",
           [](Config& c, const toml::node& node) {
             std::string word;
             const auto problem = one_of(node, kMelodySpans, word);
             if (!problem)
               c.stage.settings.melody = static_cast<listen::Under>(
                   std::find(kMelodySpans.begin(), kMelodySpans.end(), word) - kMelodySpans.begin());
             return problem;
           }, SettingName::kMelody,
           [](const live::Settings& s) { return toml_text(kMelodySpans[static_cast<std::size_t>(s.melody)]); }},
    Option{"listen", "voicing",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               std::string names;
               for (int i = 0; i < harmony::kStyles; ++i) {
                 const auto style = static_cast<harmony::Style>(i);
                 if (harmony::name(style) == value) {
                   c.stage.settings.voicing = style;
                   return std::nullopt;
                 }
                 names.append(i == 0 ? "" : ", ").append(harmony::name(style));
               }
               return "must be one of " + names;
             });
           }, SettingName::kVoicing,
           [](const live::Settings& s) { return toml_text(harmony::name(s.voicing)); }},
    Option{"listen", "brighter", [](Config& c, const toml::node& node) { return real(node, -1, 1, c.stage.settings.wishes.brighter); }, SettingName::kBrighter,
           [](const live::Settings& s) { return toml_real(s.wishes.brighter); }},
    Option{"listen", "tenser", [](Config& c, const toml::node& node) { return real(node, -1, 1, c.stage.settings.wishes.tenser); }, SettingName::kTenser,
           [](const live::Settings& s) { return toml_real(s.wishes.tenser); }},
    Option{"listen", "surprising", [](Config& c, const toml::node& node) { return real(node, -1, 1, c.stage.settings.wishes.surprising); }, SettingName::kSurprising,
           [](const live::Settings& s) { return toml_real(s.wishes.surprising); }},
    Option{"listen", "key",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               c.stage.settings.key = harmony::parse_key(value);
               if (!c.stage.settings.key && !value.empty()) return "must be a key as \"Eb minor\" or \"F#\", or empty";
               return std::nullopt;
             });
           }, SettingName::kKey,
           [](const live::Settings& s) { return toml_text(s.key ? harmony::text(*s.key) : std::string()); }},
    Option{"listen", "lean",
           [](Config& c, const toml::node& node) {
             std::string word;
             const auto problem = one_of(node, kLeans, word);
             if (!problem)
               c.stage.settings.lean =
                   static_cast<listen::Lean>(std::find(kLeans.begin(), kLeans.end(), word) - kLeans.begin());
             return problem;
           }, SettingName::kLean,
           [](const live::Settings& s) { return toml_text(kLeans[static_cast<std::size_t>(s.lean)]); }},
    Option{"listen", "reach",
           [](Config& c, const toml::node& node) {
             return integer(node, harmony::kSmallReach, harmony::kHandSpan,
                            [&](std::int64_t v) { c.stage.settings.reach = static_cast<int>(v); });
           }, SettingName::kReach,
           [](const live::Settings& s) { return fmt::to_string(s.reach); }},
    Option{"listen", "own",
           [](Config& c, const toml::node& node) -> Problem {
             if (!node.is_boolean()) return "must be true or false";
             c.stage.settings.own = **node.as_boolean();
             return std::nullopt;
           }, SettingName::kOwn,
           [](const live::Settings& s) { return std::string(s.own ? "true" : "false"); }},
    Option{"listen", "symbols",
           [](Config& c, const toml::node& node) {
             std::string word;
             const auto problem = one_of(node, kSymbolStyles, word);
             if (!problem) c.stage.settings.symbol_style = word == "signs" ? harmony::SymbolStyle::kSigns : harmony::SymbolStyle::kLetters;
             return problem;
           }, SettingName::kSymbolStyle,
           [](const live::Settings& s) { return toml_text(kSymbolStyles[static_cast<std::size_t>(s.symbol_style)]); }},
    Option{"listen", "settle_ms",
           [](Config& c, const toml::node& node) {
             return integer(node, 0, 60'000, [&](std::int64_t v) { c.stage.settings.settle = std::chrono::milliseconds(v); });
           }, SettingName::kSettle,
           [](const live::Settings& s) { return fmt::to_string(s.settle.count()); }},
    Option{"hear", "output",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               c.stage.settings.hear_output = value;
               return std::nullopt;
             });
           }, SettingName::kHearOutput,
           [](const live::Settings& s) { return toml_text(s.hear_output); }},
    Option{"hear", "velocity",
           [](Config& c, const toml::node& node) {
             return integer(node, 1, 127, [&](std::int64_t v) { c.stage.settings.hear_velocity = static_cast<int>(v); });
           }, SettingName::kHearVelocity,
           [](const live::Settings& s) { return fmt::to_string(s.hear_velocity); }},
    Option{"hear", "length_ms",
           [](Config& c, const toml::node& node) {
             return integer(node, 50, 60'000, [&](std::int64_t v) { c.stage.hear_length = std::chrono::milliseconds(v); });
           }},
    Option{"chords", "carry",
           [](Config& c, const toml::node& node) {
             std::string word;
             const auto problem = one_of(node, kCarries, word);
             if (!problem)
               c.chords.carries =
                   static_cast<live::Carries>(std::find(kCarries.begin(), kCarries.end(), word) - kCarries.begin());
             return problem;
           }},
    Option{"chords", "output",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               c.chords_output = value;
               return std::nullopt;
             });
           }},
    Option{"chords", "channel",
           [](Config& c, const toml::node& node) {
             return integer(node, 1, 16, [&](std::int64_t v) { c.chords.channel = static_cast<std::uint8_t>(v - 1); });
           }},
    Option{"chords", "velocity",
           [](Config& c, const toml::node& node) {
             return integer(node, 1, 127, [&](std::int64_t v) { c.chords.velocity = Velocity(static_cast<int>(v)); });
           }},
    Option{"osc", "port",
           [](Config& c, const toml::node& node) {
             return integer(node, 0, 65'535, [&](std::int64_t v) { c.osc.port = static_cast<int>(v); });
           }},
    Option{"osc", "address",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               if (!server::is_osc_address(value)) return "must be an address in numbers, such as \"127.0.0.1\"";
               c.osc.address = value;
               return std::nullopt;
             });
           }},
    Option{"takes", "file",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               if (!value.empty() && !std::filesystem::path(value).is_absolute()) return "must be an absolute path";
               c.takes_file = value;
               return std::nullopt;
             });
           }},
    Option{"takes", "backups",
           [](Config& c, const toml::node& node) {
             return integer(node, 0, 365, [&](std::int64_t v) { c.backups = static_cast<int>(v); });
           }},
    Option{"takes", "silence_s",
           [](Config& c, const toml::node& node) {
             return integer(node, 1, 3600, [&](std::int64_t v) { c.stage.silence = std::chrono::seconds(v); });
           }},
    Option{"server", "socket",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               if (!value.empty() && !std::filesystem::path(value).is_absolute()) return "must be an absolute path";
               c.socket = value;
               return std::nullopt;
             });
           }},
    Option{"server", "web_port",
           [](Config& c, const toml::node& node) {
             return integer(node, 0, 65'535, [&](std::int64_t v) { c.web_port = static_cast<int>(v); });
           }},
    Option{"server", "web_address",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               c.web_address = value;
               return std::nullopt;
             });
           }},
    Option{"server", "token",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               c.token = value;
               return std::nullopt;
             });
           }},
    Option{"server", "devices_port",
           [](Config& c, const toml::node& node) {
             return integer(node, 0, 65'535, [&](std::int64_t v) { c.devices_port = static_cast<int>(v); });
           }},
    Option{"server", "devices_address",
           [](Config& c, const toml::node& node) {
             return text(node, [&](const std::string& value) -> Problem {
               c.devices_address = value;
               return std::nullopt;
             });
           }},
    Option{"server", "tls",
           [](Config& c, const toml::node& node) -> Problem {
             if (!node.is_boolean()) return "must be true or false";
             c.tls = **node.as_boolean();
             return std::nullopt;
           }},
    Option{"log", "level",
           [](Config& c, const toml::node& node) {
             return one_of(node, kLogLevels, c.log_level);
           }},
};

static_assert(std::count_if(kOptions.begin(), kOptions.end(),
                            [](const Option& option) { return option.setting.has_value(); }) +
                      1 ==
                  live::kSettings,
              "every setting that a client can change has its row, except the controls");

// Reads one block [[controls]] with the options message, press and action.
Problem read_control(Config& config, const toml::table& table) {
  std::string message, press = "single", action;
  for (const auto& [key, node] : table) {
    const auto* value = node.as_string();
    if (!value) return fmt::format("{} must be a text in quotes", key.str());
    if (key == "message") {
      message = **value;
    } else if (key == "press") {
      press = **value;
    } else if (key == "action") {
      action = **value;
    } else {
      return fmt::format("{} is no option of [[controls]]; known are message, press, action", key.str());
    }
  }
  if (message.empty() || action.empty()) return "needs message and action";
  const auto mapping = listen::parse_mapping(message, press, action);
  if (!mapping) return mapping.error().message;
  config.stage.settings.controls.push_back(*mapping);
  return std::nullopt;
}

Error at_line(std::string_view name, const toml::node& node, std::string_view rest) {
  return invalid_input(fmt::format("{}, line {}: {}.", name, node.source().begin.line, rest));
}

std::string known_options(std::string_view table) {
  std::string out;
  for (const Option& option : kOptions)
    if (option.table == table) out += (out.empty() ? "" : ", ") + std::string(option.name);
  return out;
}

Result<Config> read(const toml::table& file, std::string_view name, const Config& base) {
  Config config = base;
  for (const auto& [table_key, table_node] : file) {
    const std::string_view table_name = table_key.str();
    if (table_name == "controls") {
      const auto* list = table_node.as_array();
      if (!list) return at_line(name, table_node, "controls are written as [[controls]], one block each");
      config.stage.settings.controls.clear();  // a file has all controls or none
      for (const auto& item : *list) {
        const auto* table = item.as_table();
        if (!table) return at_line(name, item, "controls are written as [[controls]], one block each");
        if (const auto problem = read_control(config, *table)) return at_line(name, item, *problem);
      }
      // Only the complete list shows whether two mappings contradict each other.
      if (const auto made = listen::Controls::make(config.stage.settings.controls); !made)
        return at_line(name, table_node, made.error().message);
      continue;
    }
    const std::string options = known_options(table_name);
    if (options.empty())
      return at_line(name, table_node, fmt::format("[{}] is no part of the configuration", table_name));
    const auto* table = table_node.as_table();
    if (!table)
      return at_line(name, table_node, fmt::format("{} is written as a table, [{}]", table_name, table_name));
    for (const auto& [key, node] : *table) {
      const auto option = std::find_if(
          kOptions.begin(), kOptions.end(),
          [&, word = key.str()](const Option& o) { return o.table == table_name && o.name == word; });
      if (option == kOptions.end())
        return at_line(name, node,
                       fmt::format("{} is no option of [{}]; known are {}", key.str(), table_name, options));
      if (const auto problem = option->set(config, node))
        return at_line(name, node, fmt::format("{} {}", key.str(), *problem));
    }
  }
  return config;
}

std::filesystem::path from_environment(const char* variable) {
  const char* value = std::getenv(variable);
  std::filesystem::path path = value ? value : "";
  return path.is_absolute() ? path : std::filesystem::path();
}

}  // namespace

Places default_places() {
  auto home = from_environment("HOME");
  if (home.empty())
    if (const passwd* account = ::getpwuid(::geteuid()); account && account->pw_dir[0] == '/')
      home = account->pw_dir;
  // Never in the working folder: without a home folder the path is empty.
  const auto place = [&](const char* variable, const char* usual, const char* rest) {
    const auto chosen = from_environment(variable);
    if (!chosen.empty()) return chosen / rest;
    return home.empty() ? std::filesystem::path() : home / usual / rest;
  };
  auto runtime = from_environment("XDG_RUNTIME_DIR");
  // Without a login session: a folder of this user. Clients look for the socket in the same place.
  runtime = runtime.empty() ? std::filesystem::path(fmt::format("/tmp/undersong-{}", getuid()))
                            : runtime / "undersong";
  return {place("XDG_CONFIG_HOME", ".config", "undersong/undersong.toml"),
          place("XDG_DATA_HOME", ".local/share", "undersong/takes.sqlite"), runtime / "socket",
          place("XDG_STATE_HOME", ".local/state", "undersong")};
}

std::string settings_text(const live::Settings& configured, const live::Settings& now) {
  const auto names = live::differing(configured, now);
  std::string text;
  const bool controls = std::find(names.begin(), names.end(), SettingName::kControls) != names.end();
  if (controls && now.controls.empty()) text += "controls = []\n";  // before the first table
  for (const std::string_view table : {"listen", "hear"}) {
    bool begun = false;
    for (const SettingName name : names)
      for (const Option& option : kOptions) {
        if (option.setting != name || option.table != table) continue;
        if (!std::exchange(begun, true)) text += fmt::format("\n[{}]\n", table);
        text += fmt::format("{} = {}\n", option.name, option.text(now));
      }
  }
  if (controls)
    for (const listen::Mapping& each : now.controls)
      text += fmt::format("\n[[controls]]\nmessage = {}\npress = {}\naction = {}\n",
                          toml_text(listen::to_text(each.message)), toml_text(listen::to_text(each.press)),
                          toml_text(listen::to_text(each.action)));
  return text;
}

std::vector<std::string> differing_at_start(const Config& started, const Config& fresh) {
  std::vector<std::string> out;
  const auto look = [&](bool same, const char* name) {
    if (!same) out.emplace_back(name);
  };
  look(fresh.takes_file == started.takes_file, "takes.file");
  look(fresh.backups == started.backups, "takes.backups");
  look(fresh.socket == started.socket, "server.socket");
  look(fresh.web_port == started.web_port, "server.web_port");
  look(fresh.web_address == started.web_address, "server.web_address");
  look(fresh.token == started.token, "server.token");
  look(fresh.devices_port == started.devices_port, "server.devices_port");
  look(fresh.devices_address == started.devices_address, "server.devices_address");
  look(fresh.tls == started.tls, "server.tls");
  look(fresh.chords == started.chords && fresh.chords_output == started.chords_output, "[chords]");
  look(fresh.osc == started.osc, "[osc]");
  look(fresh.inputs == started.inputs, "midi.inputs");
  look(fresh.service == started.service, "midi.service");
  look(fresh.virtual_input == started.virtual_input, "midi.virtual_input");
  return out;
}

Result<Config> parse_config(std::string_view text, std::string_view name, const Config& base) {
  try {
    return read(toml::parse(text), name, base);
  } catch (const toml::parse_error& error) {
    return invalid_input(
        fmt::format("{}, line {}: {}.", name, error.source().begin.line, error.description()));
  }
}

Result<Config> load_config(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream text;
  if (in) text << in.rdbuf();
  if (!in || in.bad()) return not_found(fmt::format("{}: the configuration can't be read.", file.string()));
  return parse_config(text.str(), file.string());
}

}  // namespace undersong::app
