// The configuration: built-in defaults, one TOML file over them, and the folders where files are by default.
//
//   auto config = load_config(default_places().config_file);
//   if (!config) return fail(config.error().message);   // "undersong.toml, line 2: ..."
//
// Every option is one row of a table in config.cpp. configs/undersong.toml shows all options with their
// defaults; a test keeps the two the same.
//
// Units and ranges: in the rows of config.cpp.
// Threads: plain values; the functions may be called from any thread.
// Errors: an unknown option or an unusable value is an error with file and line, in one sentence.
// Source: the folders follow the XDG Base Directory Specification 0.8 (2021). A variable that is empty or
// relative counts as unset.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/live/chord_output.h"
#include "daemon/live/stage_options.h"
#include "daemon/midi/backend.h"
#include "daemon/server/osc_output.h"

namespace undersong::app {

struct Config {
  // [midi]
  std::vector<std::string> inputs;  // parts of names, or /patterns/; empty: every input
  midi::BackendKind service = midi::BackendKind::kAuto;
  bool virtual_input = true;
  live::StageOptions stage;  // [listen], [hear], [[controls]] and takes.silence_s
  // [chords]
  live::ChordOutputOptions chords;
  std::string chords_output;  // empty: our own port "Undersong chords"
  // [osc]
  server::OscOptions osc;  // port 0: off
  // [takes]
  std::filesystem::path takes_file;  // empty: DATA_HOME/undersong/takes.sqlite
  int backups = 7;                   // 0..365: of how many days of use a copy is kept beside the takes
  // [server]
  std::filesystem::path socket;  // empty: RUNTIME_DIR/undersong/socket
  int web_port = 8344;           // 0..65,535; 0: no page
  std::string web_address = "127.0.0.1";
  std::string token;        // required if web_address is not a loopback address
  int devices_port = 8345;  // 0..65,535; 0: no devices can be paired
  std::string devices_address = "0.0.0.0";
  bool tls = false;  // on every port that other machines can reach
  // [log]
  std::string log_level = "info";
};

struct Places {
  std::filesystem::path config_file, takes_file, socket;
  std::filesystem::path state_folder;  // for files that must survive a restart but are not the player's own
};
// The default places, from environment variables.
Places default_places();

// Reads the file; options that it does not name have their defaults. A missing file is an error, because only
// the caller knows whether the file is optional.
Result<Config> load_config(const std::filesystem::path& file);
// The same for a text. `name` is the file's name in errors. Options that the text does not name are taken
// from `base`.
Result<Config> parse_config(std::string_view text, std::string_view name, const Config& base = {});

// The settings in which `now` differs from `configured`, written as in a configuration file, with the header
// of each table. Empty if none differs.
std::string settings_text(const live::Settings& configured, const live::Settings& now);
// The names, such as "takes.file", of options that differ and take effect only when the daemon starts.
std::vector<std::string> differing_at_start(const Config& started, const Config& fresh);

}  // namespace undersong::app
