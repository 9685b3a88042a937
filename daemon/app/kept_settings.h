// The file of settings that clients changed. It lies beside the takes, so that a restart finds the settings
// as they were left. Only settings that differ from the configuration are in it.
//
//   auto settings = read_kept(configured, kept_settings_file(takes_file));
//   write_kept(kept_text(configured, now), kept_settings_file(takes_file));
//
// The file is TOML with the tables and options of the configuration, so people can read it. Each change
// writes a new file, which then replaces the old one. A crash therefore leaves either the old or the new file
// complete.
//
// Threads: any thread may call these functions, but only one may write the file at a time.
// Errors: one sentence that names the file.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "daemon/app/config.h"
#include "daemon/base/result.h"
#include "daemon/live/settings.h"

namespace undersong::app {

// For "takes.sqlite": "takes.sqlite.settings.toml" in the same folder.
std::filesystem::path kept_settings_file(const std::filesystem::path& takes_file);

// The text of the file: the settings in which `now` differs from `configured`. Empty if none differs.
std::string kept_text(const live::Settings& configured, const live::Settings& now);
// Returns `configured` with the settings of the text applied. `name` is the file's name in errors.
Result<live::Settings> with_kept(const live::Settings& configured, std::string_view text,
                                 std::string_view name);

// Returns `configured` with the settings of the file applied; unchanged if there is no file. A file that
// cannot be used is renamed so that its name ends in .damaged, and the error says so.
Result<live::Settings> read_kept(const live::Settings& configured, const std::filesystem::path& file);
// Replaces the file. An empty text removes it.
Result<void> write_kept(const std::string& text, const std::filesystem::path& file);

}  // namespace undersong::app
