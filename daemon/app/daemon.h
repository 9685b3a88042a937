// Daemon: the whole program. It owns everything that lives while the program runs, including the threads.
//
//   auto daemon = Daemon::start(std::move(options));
//   if (!daemon) return fail(daemon.error().message);
//   return (*daemon)->run();
//
// Threads: these exist while the daemon runs.
//   io         the caller of run(): the analysis and all clients
//   takes      the store
//   midi-out   the MIDI output; another one if [chords] carries something
//   answers    work of milliseconds: long answers about kept takes, and scores of takes
//   aside      work of a second, at low priority: studies, other chords, parts and songs
//   describe   studies of kept takes that nobody waits for, at low priority, while nobody plays
//   one thread that watches the MIDI ports or plays a file, and the threads of the MIDI back end
// They exchange data only through the lanes of Inputs and by posting work to `io`.
//
// Errors: `start` returns one sentence. Later errors go to the log, and the daemon goes on.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>

#include "daemon/app/config.h"
#include "daemon/base/result.h"

namespace undersong::app {

// Options from the command line. They override the configuration, also after it was read again.
struct CommandLine {
  std::optional<std::filesystem::path> socket, takes_file;
  std::optional<int> web_port;
  Config over(Config config) const;
};

struct RunOptions {
  Config config;  // with the options of the command line applied
  CommandLine command_line;
  std::filesystem::path config_file;          // read again on SIGHUP; it may be missing
  std::optional<std::filesystem::path> play;  // a standard MIDI file instead of the MIDI ports
  double speed = 1;                           // of that file, 0.1..1000; 1: as it was played
  bool quit_after_file = false;               // stop when the file has been played
  std::filesystem::path page_folder;          // the companion page
};

class Daemon {
 public:
  // Opens the store, the socket, the web port and the MIDI source.
  static Result<std::unique_ptr<Daemon>> start(RunOptions options);
  virtual ~Daemon() = default;
  // Runs until SIGTERM or SIGINT, or until the end of the file with `quit_after_file`. Returns the exit
  // status of the program: 0, or kNotAllKept if something could not be written to the takes. The log then
  // says what happened to it.
  virtual int run() = 0;
  static constexpr int kNotAllKept = 3;

 protected:
  Daemon() = default;
};

}  // namespace undersong::app
