// Writes down the settings that clients changed (kept_settings.h): aside, and the newest only, for a slider
// gives many in a second.
//
// Threads: the owner's, where what was posted aside is answered too. Errors: said in the log, once until it
// works again.
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

  // These are on disk already.
  void known(const live::Settings& configured, const live::Settings& now);
  void keep(const live::Settings& configured, const live::Settings& now);
  // Writes here and now what was not written yet. The thread aside must have stopped.
  void finish();

 private:
  void write();
  void written(const std::string& text, const Result<void>& result);

  const std::filesystem::path file_;
  const Aside aside_;
  std::string kept_;                     // what was handed over last
  std::optional<std::string> to_write_;  // the newest, until it is on disk
  bool writing_ = false, failed_ = false;
};

}  // namespace undersong::app
