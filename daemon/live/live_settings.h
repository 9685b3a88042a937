// The settings in force: those of the configuration, and over them what clients and pedals have changed.
//
// Threads: the io thread. Errors: none; whoever brings a change has checked it.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "daemon/live/settings.h"

namespace undersong::live {

class LiveSettings {
 public:
  struct World {
    std::function<void()> changed;  // now() may be another; to be applied
    // Written down, so that a restart finds them; may be empty.
    std::function<void(const Settings& configured, const Settings& now)> keep;
  };
  LiveSettings(Settings configured, World world)
      : configured_(std::move(configured)), now_(configured_), world_(std::move(world)) {}

  const Settings& now() const { return now_; }
  const Settings& configured() const { return configured_; }
  // What differs from the configuration.
  std::vector<SettingName> changed() const { return differing(configured_, now_); }

  void change(const Settings& wanted);
  // As the configuration has them: those named, or all.
  void reset(const std::optional<std::vector<SettingName>>& names);
  // Those that were kept, at the start: applied and not written again.
  void take_kept(const Settings& kept);
  // A new configuration: what was edited in it takes the place of what was changed; the rest of that stays.
  void reconfigure(const Settings& fresh);

 private:
  void take(const Settings& wanted, bool keep);

  Settings configured_, now_;
  const World world_;
};

}  // namespace undersong::live
