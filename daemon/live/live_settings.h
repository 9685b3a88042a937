// LiveSettings: the settings in force. These are the configuration's values, overridden by what clients and
// pedals have changed.
//
//   LiveSettings settings(configured, {.changed = apply, .keep = write});
//   settings.change(wanted);   // calls apply(), then write(configured, now)
//
// Threads: the io thread only; both callbacks are called there, during the call that causes them.
// Errors: none. The caller checks values before it passes them in.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "daemon/live/settings.h"

namespace undersong::live {

class LiveSettings {
 public:
  struct World {
    // Called when now() may have changed; applies it.
    std::function<void()> changed;
    // Called when the settings may have changed; writes them down for the next start. May be empty.
    std::function<void(const Settings& configured, const Settings& now)> keep;
  };
  LiveSettings(Settings configured, World world)
      : configured_(std::move(configured)), now_(configured_), world_(std::move(world)) {}

  const Settings& now() const { return now_; }
  const Settings& configured() const { return configured_; }
  // The settings that differ from the configuration.
  std::vector<SettingName> changed() const { return differing(configured_, now_); }

  void change(const Settings& wanted);
  // Sets the named settings back to the configuration's values; without names, all of them.
  void reset(const std::optional<std::vector<SettingName>>& names);
  // Applies the settings that an earlier run wrote down. Does not call `keep`.
  void take_kept(const Settings& kept);
  // Takes over a new configuration. A setting whose value differs from the old configuration gets its new
  // value; the other settings stay as clients left them.
  void reconfigure(const Settings& fresh);

 private:
  void take(const Settings& wanted, bool keep);

  Settings configured_, now_;
  const World world_;
};

}  // namespace undersong::live
