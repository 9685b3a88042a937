// The configuration: defaults built in, one TOML file, XDG paths.
//
// Every option is a row of one table in config.cpp; configs/undersong.toml shows them all with their
// defaults, and a test keeps the two together. An unknown key or a value that can't be used is an error that
// names file and line. Source of the places: XDG Base Directory Specification 0.8 (2021); unset, empty or
// relative variables count as unset.
#pragma once

#include <chrono>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/durations.h"
#include "daemon/harmony/key.h"
#include "daemon/listen/analysis.h"
#include "daemon/listen/controls.h"
#include "daemon/midi/backend.h"

namespace undersong::app {

struct Config {
  // [midi]
  std::vector<std::string> inputs;  // name parts or /patterns/; empty: every input
  midi::BackendKind service = midi::BackendKind::kAuto;
  bool virtual_input = true;
  // [listen]
  listen::Under melody = listen::Under::kTwo;
  harmony::Style voicing = harmony::Style::kOpen;
  harmony::Wishes wishes;
  std::optional<harmony::Key> key;  // pinned
  harmony::SymbolStyle symbol_style = harmony::SymbolStyle::kLetters;
  std::chrono::milliseconds settle = std::chrono::duration_cast<std::chrono::milliseconds>(harmony::kMeant);
  // [hear]
  std::string hear_output;  // empty: our own port "Undersong out"
  int hear_velocity = 56;   // 1..127, before the player's own loudness is known
  std::chrono::milliseconds hear_length{1500};
  // [controls]
  std::vector<listen::Mapping> controls;
  // [takes]
  std::filesystem::path takes_file;  // empty: DATA_HOME/undersong/takes.sqlite
  std::chrono::seconds silence{20};
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

}  // namespace undersong::app
