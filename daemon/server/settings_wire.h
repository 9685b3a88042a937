// The settings that a client may change, between the daemon's own type and the protocol's.
//
// Threads: pure functions. Errors: one sentence that names the member of the params.
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
// Takes over every setting that `change` names. Error: which can't be used; then nothing is taken over.
Result<live::Settings> changed(const live::Settings& settings, const protocol::SetSettings& change);
std::vector<live::SettingName> names_of(const std::vector<protocol::SettingName>& names);

}  // namespace undersong::server
