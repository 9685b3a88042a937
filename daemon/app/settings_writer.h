// SettingsWriter: writes the settings that clients changed to their file (kept_settings.h), on another
// thread. Only the newest settings are written, because a slider causes many changes per second.
//
//   writer.keep(configured, now);   // after each change
//   writer.finish();                // at the end, when the other thread has stopped
//
// Threads: the owner's thread only (in the daemon `io`); the file is written on the thread behind `aside`.
// Errors: a failed write is reported in the log once; the next report follows only after a success.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <utility>

#include "daemon/base/aside.h"
#include "daemon/live/settings.h"

namespace undersong::app {

class SettingsWriter {
 public:
  SettingsWriter(std::filesystem::path file, Aside aside)
      : file_(std::move(file)), aside_(std::move(aside)) {}

  // Call it at the start with the settings that are already in the file.
  void known(const live::Settings& configured, const live::Settings& now);
  void keep(const live::Settings& configured, const live::Settings& now);
  // Writes on the calling thread what is not on disk yet. REQUIRES: the thread behind `aside` has stopped.
  void finish();

 private:
  void write();
  void written(const std::string& text, const Result<void>& result);

  const std::filesystem::path file_;
  const Aside aside_;
  std::string kept_;                     // the newest text that was to be written or was read
  std::optional<std::string> to_write_;  // the newest text, until it is on disk
  bool writing_ = false, failed_ = false;
};

}  // namespace undersong::app
