// The daemon: the one owner of everything that lives while it runs, threads included.
//
// Threads: `io` (the caller of run(): the analysis, all clients), `takes` (the store), `midi-out` (the
// output), `answers` (what takes milliseconds: long answers about kept takes, their scores), `aside` (what
// takes a second: studies, other chords, parts and songs from kept takes, at low priority), one that watches
// the MIDI ports or plays a file, and the MIDI back end's own. They meet in the lanes of Inputs and in work
// posted to `io`.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>

#include "daemon/app/config.h"
#include "daemon/base/result.h"

namespace undersong::app {

// What the command line says stands over the configuration, also when that is read again.
struct CommandLine {
  std::optional<std::filesystem::path> socket, takes_file;
  std::optional<int> web_port;
  Config over(Config config) const;
};

struct RunOptions {
  Config config;  // with the command line over it
  CommandLine command_line;
  std::filesystem::path config_file;          // read again on SIGHUP; may be missing
  std::optional<std::filesystem::path> play;  // a standard MIDI file instead of the MIDI ports
  double speed = 1;
  bool quit_after_file = false;
  std::filesystem::path page_folder;
};

class Daemon {
 public:
  // Everything that can fail at the start does so here.
  static Result<std::unique_ptr<Daemon>> start(RunOptions options);
  virtual ~Daemon() = default;
  // Until SIGTERM or SIGINT, or the end of the file if that was asked for. Gives the exit status of the
  // program: 0, or kNotAllKept when something could not be written to the takes; a sentence in the log says
  // what became of it.
  virtual int run() = 0;
  static constexpr int kNotAllKept = 3;

 protected:
  Daemon() = default;
};

}  // namespace undersong::app
