#include "daemon/server/settings_wire.h"

#include <fmt/format.h>

#include <string>
#include <utility>

#include "protocol/messages.h"

namespace undersong::server {
namespace {

// The enumerations of both sides are in the same order.
static_assert(
    static_cast<int>(protocol::SettingName::kControls) == static_cast<int>(live::SettingName::kControls) &&
    static_cast<int>(protocol::SettingName::kHearVelocity) ==
        static_cast<int>(live::SettingName::kHearVelocity) &&
    static_cast<int>(protocol::VoicingStyle::kBlock) + 1 == harmony::kStyles &&
    static_cast<int>(protocol::Lean::kOwn) == static_cast<int>(listen::Lean::kOwn) &&
    static_cast<int>(protocol::ControlAction::kFindPlayed) == static_cast<int>(listen::Action::kFindPlayed) &&
    static_cast<int>(protocol::ControlPress::kLong) == static_cast<int>(listen::Press::kLong) &&
    static_cast<int>(protocol::MelodySpan::kBar) == static_cast<int>(listen::Under::kBar) &&
    static_cast<int>(protocol::SymbolStyle::kSigns) == static_cast<int>(harmony::SymbolStyle::kSigns));

// Calls use(ours, asked, told) for each setting, one row each. The three functions return the setting's
// member in live::Settings, in protocol::SetSettings and in protocol::Settings. `give` and `take` below
// convert the values; they depend on the types only.
template <class Use>
void for_each_row(Use use) {
  use(
      [](auto& s) -> auto& { return s.wishes.brighter; }, [](auto& s) -> auto& { return s.brighter; },
      [](auto& s) -> auto& { return s.wishes.brighter; });
  use(
      [](auto& s) -> auto& { return s.wishes.tenser; }, [](auto& s) -> auto& { return s.tenser; },
      [](auto& s) -> auto& { return s.wishes.tenser; });
  use(
      [](auto& s) -> auto& { return s.wishes.surprising; }, [](auto& s) -> auto& { return s.surprising; },
      [](auto& s) -> auto& { return s.wishes.surprising; });
  const auto same = [&](auto ours, auto theirs) { use(ours, theirs, theirs); };
  same(
      [](auto& s) -> auto& { return s.symbol_style; }, [](auto& s) -> auto& { return s.symbol_style; });
  same(
      [](auto& s) -> auto& { return s.hear_output; }, [](auto& s) -> auto& { return s.hear_output; });
  same(
      [](auto& s) -> auto& { return s.hear_velocity; }, [](auto& s) -> auto& { return s.hear_velocity; });
  same(
      [](auto& s) -> auto& { return s.settle; }, [](auto& s) -> auto& { return s.settle_ms; });
  same(
      [](auto& s) -> auto& { return s.melody; }, [](auto& s) -> auto& { return s.melody; });
  same(
      [](auto& s) -> auto& { return s.voicing; }, [](auto& s) -> auto& { return s.voicing; });
  same(
      [](auto& s) -> auto& { return s.key; }, [](auto& s) -> auto& { return s.key; });
  same(
      [](auto& s) -> auto& { return s.lean; }, [](auto& s) -> auto& { return s.lean; });
  same(
      [](auto& s) -> auto& { return s.reach; }, [](auto& s) -> auto& { return s.reach; });
  same(
      [](auto& s) -> auto& { return s.own; }, [](auto& s) -> auto& { return s.own; });
  same(
      [](auto& s) -> auto& { return s.controls; }, [](auto& s) -> auto& { return s.controls; });
}

void give(protocol::Wish& to, float value) {
  to = value;
}
void give(std::string& to, const std::string& value) {
  to = value;
}
void give(protocol::Whole<1, 127>& to, int value) {
  to = value;
}
void give(protocol::Whole<12, 16>& to, int value) {
  to = value;
}
void give(bool& to, bool value) {
  to = value;
}
void give(protocol::Whole<0, 60'000>& to, std::chrono::milliseconds value) {
  to = value.count();
}
void give(std::string& to, const std::optional<harmony::Key>& value) {
  to = value ? harmony::harte(*value) : std::string();
}
template <class Theirs, class Ours>
requires std::is_enum_v<Ours>
void give(Theirs& to, Ours value) {
  to = static_cast<Theirs>(value);
}

void give(std::vector<protocol::Control>& to, const std::vector<listen::Mapping>& value) {
  for (const auto& each : value)
    to.push_back({listen::to_text(each.message), static_cast<protocol::ControlPress>(each.press),
                  static_cast<protocol::ControlAction>(each.action)});
}

void take(float& to, protocol::Wish value) {
  to = static_cast<float>(value.value);
}
void take(std::string& to, const std::string& value) {
  to = value;
}
void take(int& to, protocol::Whole<1, 127> value) {
  to = static_cast<int>(value.value);
}
void take(int& to, protocol::Whole<12, 16> value) {
  to = static_cast<int>(value.value);
}
void take(bool& to, bool value) {
  to = value;
}
void take(std::chrono::milliseconds& to, protocol::Whole<0, 60'000> value) {
  to = std::chrono::milliseconds(value.value);
}
void take(std::optional<harmony::Key>& to, const std::string& value) {
  to = harmony::parse_key(value);
}
Result<std::vector<listen::Mapping>> mappings_of(const std::vector<protocol::Control>& controls) {
  std::vector<listen::Mapping> out;
  for (const auto& each : controls) {
    auto mapping =
        listen::parse_mapping(each.message, listen::to_text(static_cast<listen::Press>(each.press)),
                              listen::to_text(static_cast<listen::Action>(each.action)));
    if (!mapping) return mapping.error();
    out.push_back(std::move(*mapping));
  }
  if (const auto made = listen::Controls::make(out); !made) return made.error();
  return out;
}
void take(std::vector<listen::Mapping>& to, const std::vector<protocol::Control>& value) {
  if (auto made = mappings_of(value)) to = std::move(*made);  // `changed` has refused what can't be read
}
template <class Ours, class Theirs>
requires std::is_enum_v<Ours>
void take(Ours& to, Theirs value) {
  to = static_cast<Ours>(value);
}

}  // namespace

protocol::Settings settings_of(const live::LiveSettings& settings) {
  protocol::Settings out;
  for_each_row([&](auto ours, auto, auto told) { give(told(out), ours(settings.now())); });
  for (const live::SettingName name : settings.changed())
    out.changed.push_back(static_cast<protocol::SettingName>(name));
  return out;
}

Result<live::Settings> changed(const live::Settings& settings, const protocol::SetSettings& change) {
  if (change.key && !change.key->empty() && !harmony::parse_key(*change.key))
    return invalid_input(fmt::format(
        "params.key \"{}\" is no key; write Eb:min, Ebm or Eb minor, or nothing to free it.", *change.key));
  if (change.controls)
    if (const auto made = mappings_of(*change.controls); !made)
      return invalid_input("params.controls: " + made.error().message);
  live::Settings out = settings;
  for_each_row([&](auto ours, auto asked, auto) {
    if (const auto& value = asked(change)) take(ours(out), *value);
  });
  return out;
}

std::vector<live::SettingName> names_of(const std::vector<protocol::SettingName>& names) {
  std::vector<live::SettingName> out;
  for (const protocol::SettingName name : names) out.push_back(static_cast<live::SettingName>(name));
  return out;
}

}  // namespace undersong::server
