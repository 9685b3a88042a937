#include "daemon/live/settings.h"

#include <algorithm>

namespace undersong::live {

std::vector<SettingName> differing(const Settings& a, const Settings& b) {
  std::vector<SettingName> out;
  for_each_setting([&](SettingName name, auto member) {
    if (!(member(a) == member(b))) out.push_back(name);
  });
  return out;
}

Settings with(Settings settings, const Settings& from, std::span<const SettingName> names) {
  for_each_setting([&](SettingName name, auto member) {
    if (std::find(names.begin(), names.end(), name) != names.end()) member(settings) = member(from);
  });
  return settings;
}

}  // namespace undersong::live
