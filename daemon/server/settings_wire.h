// Converts the settings that clients may change between the daemon's own type and the protocol's.
//
// Threads: pure functions; `settings_of` must be called on the io thread, which owns LiveSettings.
// Errors: one sentence that names the member of the params.
#pragma once

#include <vector>

#include "daemon/base/result.h"
#include "daemon/live/live_settings.h"

namespace undersong::protocol {
enum class SettingName : std::uint8_t;
struct SetSettings;
struct Settings;
}  // namespace undersong::protocol

namespace undersong::server {

protocol::Settings settings_of(const live::LiveSettings& settings);
// Returns `settings` with every setting that `change` names. The error says which value cannot be used.
Result<live::Settings> changed(const live::Settings& settings, const protocol::SetSettings& change);
std::vector<live::SettingName> names_of(const std::vector<protocol::SettingName>& names);

}  // namespace undersong::server
