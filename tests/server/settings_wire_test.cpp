// Conversion of the settings between the daemon's type and the protocol's.
#include "daemon/server/settings_wire.h"

#include <gtest/gtest.h>

#include "protocol/messages.h"

namespace undersong::server {
namespace {

protocol::SetSettings everything() {
  protocol::SetSettings change;
  change.brighter = -0.1;
  change.tenser = 0.3;
  change.surprising = 1;
  change.symbol_style = protocol::SymbolStyle::kSigns;
  change.hear_output = "Stage left";
  change.hear_velocity = 33;
  change.settle_ms = 600;
  change.melody = protocol::MelodySpan::kBar;
  change.voicing = protocol::VoicingStyle::kDrop2;
  change.key = "Ebm";
  change.lean = protocol::Lean::kOwn;
  change.reach = 16;
  change.own = false;
  change.controls = std::vector{
      protocol::Control{"cc 67", protocol::ControlPress::kDouble, protocol::ControlAction::kAlong},
      protocol::Control{"pad 36", protocol::ControlPress::kSingle, protocol::ControlAction::kDarker}};
  return change;
}

TEST(SettingsWire, EverySettingThatIsChangedIsToldAsItWasAskedFor) {
  live::LiveSettings settings({}, {[] {}, {}});
  const auto now = changed(settings.now(), everything());
  ASSERT_TRUE(now) << now.error().message;
  EXPECT_EQ(differing({}, *now).size(), live::kSettings) << "the test knows all of them";
  settings.change(*now);
  const protocol::Settings told = settings_of(settings);
  EXPECT_FLOAT_EQ(static_cast<float>(told.wishes.brighter.value), -0.1f);
  EXPECT_FLOAT_EQ(static_cast<float>(told.wishes.tenser.value), 0.3f);
  EXPECT_EQ(told.wishes.surprising, 1.0);
  EXPECT_EQ(told.symbol_style, protocol::SymbolStyle::kSigns);
  EXPECT_EQ(told.hear_output, "Stage left");
  EXPECT_EQ(told.hear_velocity, 33);
  EXPECT_EQ(told.settle_ms, 600);
  EXPECT_EQ(told.melody, protocol::MelodySpan::kBar);
  EXPECT_EQ(told.voicing, protocol::VoicingStyle::kDrop2);
  EXPECT_EQ(told.key, "Eb:min");
  EXPECT_EQ(told.lean, protocol::Lean::kOwn);
  EXPECT_EQ(told.reach, 16);
  EXPECT_FALSE(told.own);
  ASSERT_EQ(told.controls.size(), 2u);
  EXPECT_EQ(protocol::to_json(told.controls[0]), R"({"message":"cc 67","press":"double","action":"along"})");
  EXPECT_EQ(protocol::to_json(told.controls[1]),
            R"({"message":"pad 36","press":"single","action":"darker"})");
  EXPECT_EQ(told.changed.size(), live::kSettings);
}

TEST(SettingsWire, WhatIsNotNamedStays) {
  const auto before = changed({}, everything());
  ASSERT_TRUE(before);
  const auto after = changed(*before, protocol::SetSettings{.hear_velocity = 99, .key = ""});
  ASSERT_TRUE(after);
  EXPECT_EQ(differing(*before, *after),
            (std::vector{live::SettingName::kHearVelocity, live::SettingName::kKey}));
}

TEST(SettingsWire, TheWordsOfOrdersAreThoseOfTheConfiguration) {
  for (const auto& [action, word] : protocol::enum_names<protocol::ControlAction>())
    EXPECT_EQ(word, listen::to_text(static_cast<listen::Action>(action)));
  for (const auto& [press, word] : protocol::enum_names<protocol::ControlPress>())
    EXPECT_EQ(word, listen::to_text(static_cast<listen::Press>(press)));
}

TEST(SettingsWire, AControlThatCannotBeReadOrContradictsAnotherIsRefused) {
  const auto refused = [](std::vector<protocol::Control> controls) {
    const auto made = changed({}, protocol::SetSettings{.controls = std::move(controls)});
    return made ? std::string() : made.error().message;
  };
  using protocol::ControlAction;
  using protocol::ControlPress;
  EXPECT_EQ(refused({{"cc 300", ControlPress::kSingle, ControlAction::kMark}}),
            "params.controls: The control \"cc 300\" needs a number from 0 to 127 after cc.");
  EXPECT_EQ(refused({{"cc 67", ControlPress::kSingle, ControlAction::kMark},
                     {"cc 67", ControlPress::kSingle, ControlAction::kTap}}),
            "params.controls: The controls 1 and 2 are the same message with the same press.");
}

TEST(SettingsWire, AKeyThatIsNoneIsSaidAndNothingIsChanged) {
  const auto refused = changed({}, protocol::SetSettings{.brighter = 1, .key = "H dur"});
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("\"H dur\" is no key"), std::string::npos);
}

}  // namespace
}  // namespace undersong::server
