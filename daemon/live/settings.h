// The settings that the player may change while playing. for_each_setting is the one list of them, with a row
// for each setting.
//
// Settings that a client changed are kept over a restart if they differ from the configuration
// (app/kept_settings.h).
//
// Units and ranges: beside each member.
// Threads: plain values and pure functions.
// Errors: none; all functions are total.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/durations.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/voicing.h"
#include "daemon/listen/analysis.h"
#include "daemon/listen/controls.h"
#include "daemon/midi/audition.h"

namespace undersong::live {

struct Settings {
  harmony::Wishes wishes;
  harmony::SymbolStyle symbol_style = harmony::SymbolStyle::kLetters;
  std::string hear_output;                         // empty: our own port "Undersong out"
  int hear_velocity = midi::kQuietly.value();      // 1..127, used until the player's loudness is known
  std::chrono::milliseconds settle{250};           // 0..60,000; wait before the page shows a chord
  listen::Under melody = listen::Under::kTwo;      // the melody notes that alternatives must fit
  harmony::Style voicing = harmony::Style::kOpen;  // how alternatives are voiced
  std::optional<harmony::Key> key;                 // the pinned key; empty: it is found by listening
  listen::Lean lean = listen::Lean::kFound;        // which harmony the ranking expects
  int reach = harmony::kUsualReach;  // how far one hand stretches, semitones, kSmallReach..kHandSpan
  std::vector<listen::Mapping>
      controls;     // pedals, pads and keys that give orders; Controls::make accepts them
  bool own = true;  // kept takes shape the ranking
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
  kKey,
  kLean,
  kReach,
  kOwn,
  kControls
};
inline constexpr std::size_t kSettings = static_cast<std::size_t>(SettingName::kControls) + 1;

// Calls use(name, member) for every setting, in the order of SettingName. member(settings) returns a
// reference to the setting.
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
  use(
      SettingName::kLean, [](auto& s) -> auto& { return s.lean; });
  use(
      SettingName::kReach, [](auto& s) -> auto& { return s.reach; });
  use(
      SettingName::kOwn, [](auto& s) -> auto& { return s.own; });
  use(
      SettingName::kControls, [](auto& s) -> auto& { return s.controls; });
}

// The names of the settings that differ, in the order of SettingName.
std::vector<SettingName> differing(const Settings& a, const Settings& b);
// Returns `settings` with the named ones copied from `from`.
Settings with(Settings settings, const Settings& from, std::span<const SettingName> names);

}  // namespace undersong::live
