// The configuration: defaults built in, one TOML file, XDG paths.
//
// Every option is a row of one table in config.cpp; configs/undersong.toml shows them all with their
// defaults, and a test keeps the two together. An unknown key or a value that can't be used is an error that
// names file and line. Source of the places: XDG Base Directory Specification 0.8 (2021); unset, empty or
// relative variables count as unset.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/live/stage_options.h"
#include "daemon/midi/backend.h"

namespace undersong::app {

struct Config {
  // [midi]
  std::vector<std::string> inputs;  // name parts or /patterns/; empty: every input
  midi::BackendKind service = midi::BackendKind::kAuto;
  bool virtual_input = true;
  live::StageOptions stage;  // [listen], [hear], [controls], and how long a silence ends a take
  // [takes]
  std::filesystem::path takes_file;  // empty: DATA_HOME/undersong/takes.sqlite
  // [server]
  std::filesystem::path socket;  // empty: RUNTIME_DIR/undersong/socket
  int web_port = 8344;           // 0: no page
  std::string web_address = "127.0.0.1";
  std::string token;  // needed for any address beyond loopback
  // [log]
  std::string log_level = "info";
};

struct Places {
  std::filesystem::path config_file, takes_file, socket;
  std::filesystem::path state_folder;  // for what should outlive a restart and is no data of the player's
};
// From the environment; pure but for reading it.
Places default_places();

// The file's options over the defaults. A missing file is an error here; the caller knows whether it was
// asked for.
Result<Config> load_config(const std::filesystem::path& file);
// The same from text; `name` stands for the file in errors. Options that the text doesn't name are as in
// `base`.
Result<Config> parse_config(std::string_view text, std::string_view name, const Config& base = {});

// The settings in which `now` differs from `configured`, as text of a configuration: a table header before
// the options of each table; empty when none does.
std::string settings_text(const live::Settings& configured, const live::Settings& now);
// The options, as "takes.file", in which these differ and which hold from the start of the daemon to its end.
std::vector<std::string> differing_at_start(const Config& started, const Config& fresh);

}  // namespace undersong::app
