// The settings that clients changed: kept beside the takes, so that a restart finds them as they were left.
// What the configuration says is the default; only what differs from it is kept.
//
// The file is TOML with the tables and options of the configuration, so that a person can read it. It is
// written anew at each change: to a file beside it, which then takes its place, so that a crash leaves the
// old one or the new one whole.
//
// Threads: any; the file has one writer at a time. Errors: one sentence with the place.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "daemon/app/config.h"
#include "daemon/base/result.h"
#include "daemon/live/settings.h"

namespace undersong::app {

// "takes.sqlite.settings.toml" beside "takes.sqlite".
std::filesystem::path kept_settings_file(const std::filesystem::path& takes_file);

// The settings in which `now` differs from `configured`, as text; empty when none does.
std::string kept_text(const live::Settings& configured, const live::Settings& now);
// `configured` with the settings of the text; `name` stands for the file in errors.
Result<live::Settings> with_kept(const live::Settings& configured, std::string_view text,
                                 std::string_view name);

// `configured` with what the file says; a file that isn't there changes nothing. One that can't be used is
// put aside under a name that ends in .damaged, and the error says so.
Result<live::Settings> read_kept(const live::Settings& configured, const std::filesystem::path& file);
// Empty text takes the file away.
Result<void> write_kept(const std::string& text, const std::filesystem::path& file);

}  // namespace undersong::app
