#include "daemon/live/live_settings.h"

#include <gtest/gtest.h>

namespace undersong::live {
namespace {

class LiveSettingsTest : public testing::Test {
 protected:
  static Settings with_velocity(int velocity, Settings settings = {}) {
    settings.hear_velocity = velocity;
    return settings;
  }
  int applied_ = 0;
  std::vector<std::vector<SettingName>> kept_;  // what differed from the configuration, for each `keep`
  LiveSettings settings_{
      {},
      {[this] { ++applied_; }, [this](const Settings& configured,
                                      const Settings& now) { kept_.push_back(differing(configured, now)); }}};
};

TEST_F(LiveSettingsTest, AChangeIsAppliedAndKeptAndCanBeTakenBack) {
  settings_.change(with_velocity(33));
  EXPECT_EQ(settings_.now().hear_velocity, 33);
  EXPECT_EQ(settings_.changed(), std::vector{SettingName::kHearVelocity});
  settings_.reset(std::vector{SettingName::kKey});
  EXPECT_EQ(settings_.now().hear_velocity, 33) << "another was named";
  settings_.reset({});
  EXPECT_TRUE(settings_.changed().empty());
  EXPECT_EQ(applied_, 3);
  ASSERT_EQ(kept_.size(), 3u);
  EXPECT_EQ(kept_[0], std::vector{SettingName::kHearVelocity});
  EXPECT_TRUE(kept_[2].empty());
}

TEST_F(LiveSettingsTest, WhatWasKeptIsAppliedAtTheStartAndNotWrittenAgain) {
  settings_.take_kept(with_velocity(33));
  EXPECT_EQ(settings_.changed(), std::vector{SettingName::kHearVelocity});
  EXPECT_EQ(applied_, 1);
  EXPECT_TRUE(kept_.empty());
}

TEST_F(LiveSettingsTest, WhatIsEditedInTheConfigurationCountsAndOtherChangesStay) {
  Settings wanted = with_velocity(33);
  wanted.wishes.brighter = 1;
  settings_.change(wanted);
  Settings edited = with_velocity(44);
  edited.hear_output = "Stage piano";
  settings_.reconfigure(edited);
  EXPECT_EQ(settings_.now().hear_velocity, 44);
  EXPECT_EQ(settings_.now().hear_output, "Stage piano");
  EXPECT_EQ(settings_.now().wishes.brighter, 1.f);
  EXPECT_EQ(settings_.changed(), std::vector{SettingName::kBrighter});
}

}  // namespace
}  // namespace undersong::live
