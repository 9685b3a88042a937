#include "daemon/live/live_settings.h"

#include <utility>

namespace undersong::live {

void LiveSettings::take(const Settings& wanted, bool keep) {
  now_ = wanted;
  world_.changed();
  if (keep && world_.keep) world_.keep(configured_, now_);
}

void LiveSettings::change(const Settings& wanted) {
  take(wanted, true);
}

void LiveSettings::reset(const std::optional<std::vector<SettingName>>& names) {
  take(with(now_, configured_, names ? *names : changed()), true);
}

void LiveSettings::take_kept(const Settings& kept) {
  take(kept, false);
}

void LiveSettings::reconfigure(const Settings& fresh) {
  const Settings wanted = with(now_, fresh, differing(configured_, fresh));
  configured_ = fresh;
  take(wanted, true);
}

}  // namespace undersong::live
