// The settings that the player may change while playing. THE list of them is for_each_setting: a row each.
//
// What differs from the configuration because a client changed it is kept over a restart
// (app/kept_settings.h). Threads: plain values.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/voicing.h"
#include "daemon/listen/analysis.h"
#include "daemon/midi/audition.h"

namespace undersong::live {

struct Settings {
  harmony::Wishes wishes;
  harmony::SymbolStyle symbol_style = harmony::SymbolStyle::kLetters;
  std::string hear_output;                         // empty: our own port "Undersong out"
  int hear_velocity = midi::kQuietly.value();      // 1..127, before the player's own loudness is known
  std::chrono::milliseconds settle{250};           // a chord that lasts less is not shown at a glance
  listen::Under melody = listen::Under::kTwo;      // under which notes alternatives are sought
  harmony::Style voicing = harmony::Style::kOpen;  // of alternatives
  std::optional<harmony::Key> key;                 // pinned
};

enum class SettingName : std::uint8_t {
  kBrighter,
  kTenser,
  kSurprising,
  kSymbolStyle,
  kHearOutput,
  kHearVelocity,
  kSettle,
  kMelody,
  kVoicing,
  kKey
};
inline constexpr std::size_t kSettings = static_cast<std::size_t>(SettingName::kKey) + 1;

// Calls use(name, member) for every setting, in the order of SettingName; member(settings) is the setting.
template <class Use>
void for_each_setting(Use use) {
  use(
      SettingName::kBrighter, [](auto& s) -> auto& { return s.wishes.brighter; });
  use(
      SettingName::kTenser, [](auto& s) -> auto& { return s.wishes.tenser; });
  use(
      SettingName::kSurprising, [](auto& s) -> auto& { return s.wishes.surprising; });
  use(
      SettingName::kSymbolStyle, [](auto& s) -> auto& { return s.symbol_style; });
  use(
      SettingName::kHearOutput, [](auto& s) -> auto& { return s.hear_output; });
  use(
      SettingName::kHearVelocity, [](auto& s) -> auto& { return s.hear_velocity; });
  use(
      SettingName::kSettle, [](auto& s) -> auto& { return s.settle; });
  use(
      SettingName::kMelody, [](auto& s) -> auto& { return s.melody; });
  use(
      SettingName::kVoicing, [](auto& s) -> auto& { return s.voicing; });
  use(
      SettingName::kKey, [](auto& s) -> auto& { return s.key; });
}

// Which of them differ, in the order of SettingName.
std::vector<SettingName> differing(const Settings& a, const Settings& b);
// `settings` with those of these names as `from` has them.
Settings with(Settings settings, const Settings& from, std::span<const SettingName> names);

}  // namespace undersong::live
