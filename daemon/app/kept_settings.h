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
#include <span>
#include <string>
#include <vector>

#include "daemon/app/config.h"
#include "daemon/base/result.h"
#include "protocol/messages.h"

namespace undersong::app {

// "takes.sqlite.settings.toml" beside "takes.sqlite".
std::filesystem::path kept_settings_file(const std::filesystem::path& takes_file);

// What a client can change, as one request that changes all of it to what `config` says.
protocol::SetSettings settings_of(const Config& config);
// Takes over every setting that `change` names. Error: its sentence says which can't be used; then nothing is
// taken over.
Result<Config> changed(const Config& config, const protocol::SetSettings& change);
// Which of them differ, in the order of SettingName.
std::vector<protocol::SettingName> differing(const Config& a, const Config& b);
// `config` with these settings as `from` has them.
Config with(Config config, const Config& from, std::span<const protocol::SettingName> names);

// The settings in which `now` differs from `configured`, as text; empty when none does.
std::string kept_text(const Config& configured, const Config& now);
// `configured` with the settings of the text; `name` stands for the file in errors.
Result<Config> with_kept(const Config& configured, std::string_view text, std::string_view name);

// `configured` with what the file says; a file that isn't there changes nothing. One that can't be used is
// put aside under a name that ends in .damaged, and the error says so.
Result<Config> read_kept(const Config& configured, const std::filesystem::path& file);
// Empty text takes the file away.
Result<void> write_kept(const std::string& text, const std::filesystem::path& file);

}  // namespace undersong::app
