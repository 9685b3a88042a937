// The file of settings that clients changed. How the daemon uses it is tested in daemon_settings_test.cpp.
#include "daemon/app/kept_settings.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <fstream>
#include <iterator>

#include "tests/takes/store_fixture.h"

namespace undersong::app {
namespace {

using live::SettingName;
using live::Settings;

Settings everything() {
  Settings out;
  out.wishes = {-0.1f, 0.3f, 1};
  out.symbol_style = harmony::SymbolStyle::kSigns;
  out.hear_output = "Stage \"left\" \\ 2";
  out.hear_velocity = 33;
  out.settle = std::chrono::milliseconds(600);
  out.melody = listen::Under::kBar;
  out.voicing = harmony::Style::kDrop2;
  out.key = harmony::parse_key("Ebm");
  out.lean = listen::Lean::kOwn;
  out.reach = 16;
  out.own = false;
  out.controls = {*listen::parse_mapping("cc 67 port Stage \"left\"", "double", "along"),
                  *listen::parse_mapping("pad 36", "long", "no_wishes")};
  return out;
}

std::string text_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

TEST(KeptSettings, WhatAsTheConfigurationIsIsNotKept) {
  EXPECT_EQ(kept_text({}, {}), "");
  EXPECT_EQ(kept_text(everything(), everything()), "");
}

TEST(KeptSettings, EverySettingComesBackFromItsText) {
  const Settings now = everything();
  EXPECT_EQ(differing({}, now).size(), live::kSettings) << "the test knows all of them";
  const auto back = with_kept({}, kept_text({}, now), "kept");
  ASSERT_TRUE(back) << back.error().message;
  EXPECT_TRUE(differing(now, *back).empty()) << kept_text({}, now);
}

TEST(KeptSettings, ThatAllControlsAreGoneIsKeptToo) {
  Settings configured;
  configured.controls = {*listen::parse_mapping("cc 67", "single", "mark")};
  const Settings now;
  const auto back = with_kept(configured, kept_text(configured, now), "kept");
  ASSERT_TRUE(back) << back.error().message;
  EXPECT_TRUE(back->controls.empty());
  Settings other;
  other.controls = {*listen::parse_mapping("cc 66", "single", "tap")};
  EXPECT_EQ(with_kept(configured, kept_text(configured, other), "kept")->controls, other.controls)
      << "the list as a whole comes back, not added to that of the configuration";
}

TEST(KeptSettings, TheTextReadsAsAPersonWouldWriteIt) {
  Settings now;
  now.wishes.brighter = 0.3f;
  now.key = harmony::parse_key("Ebm");
  now.hear_output = "Stage \"left\"";
  EXPECT_EQ(kept_text({}, now),
            "# Settings that were changed while Undersong ran. They count before the configuration; "
            "`undersong settings reset` ends that.\n"
            "\n[listen]\nbrighter = 0.3\nkey = 'Eb minor'\n\n[hear]\noutput = 'Stage \"left\"'\n");
}

TEST(KeptSettings, OnlyWhatDiffersStandsBeforeAChangedConfiguration) {
  Settings changed;
  changed.hear_velocity = 33;
  const std::string kept = kept_text({}, changed);
  Settings edited;
  edited.symbol_style = harmony::SymbolStyle::kSigns;
  const auto now = with_kept(edited, kept, "kept");
  ASSERT_TRUE(now);
  EXPECT_EQ(differing(edited, *now), std::vector{SettingName::kHearVelocity});
}

TEST(KeptSettings, OptionsThatNoClientCanChangeDoNotStandInItsWay) {
  const auto now = with_kept({}, "[server]\nweb_port = 1\n[hear]\nvelocity = 9\n", "kept");
  ASSERT_TRUE(now);
  EXPECT_EQ(differing({}, *now), std::vector{SettingName::kHearVelocity});
  EXPECT_EQ(now->hear_velocity, 9);
}

TEST(KeptSettings, TheFileIsTheUsersAloneAndGoesWithTheLastChange) {
  takes::TemporaryFolder folder;
  const auto file = kept_settings_file(folder.path / "takes.sqlite");
  EXPECT_EQ(file.filename(), "takes.sqlite.settings.toml");
  const std::string text = kept_text({}, everything());
  ASSERT_TRUE(write_kept(text, file));
  EXPECT_EQ(text_of(file), text);
  EXPECT_EQ(std::filesystem::status(file).permissions(),
            std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
  const auto read = read_kept({}, file);
  ASSERT_TRUE(read);
  EXPECT_EQ(kept_text({}, *read), text);
  ASSERT_TRUE(write_kept("", file));
  EXPECT_TRUE(std::filesystem::is_empty(folder.path));
  ASSERT_TRUE(write_kept("", file));  // a missing file is no error
}

TEST(KeptSettings, ADamagedFileIsPutAsideAndSaid) {
  for (const char* damage :
       {"[listen]\nbrighter = ", "[listen]\nbrighter = 7\n", "\xff\xfe", "[listen]\nkey = \"H\"\n"}) {
    takes::TemporaryFolder folder;
    const auto file = kept_settings_file(folder.path / "takes.sqlite");
    std::ofstream(file) << damage;
    const auto read = read_kept({}, file);
    ASSERT_FALSE(read) << damage;
    EXPECT_NE(read.error().message.find(file.string()), std::string::npos) << read.error().message;
    EXPECT_NE(read.error().message.find("The settings are those of the configuration; the file is kept as " +
                                        file.string() + ".damaged."),
              std::string::npos);
    EXPECT_FALSE(std::filesystem::exists(file));
    EXPECT_EQ(text_of(file.string() + ".damaged"), damage);
  }
}

TEST(KeptSettings, WhereNothingCanBeWrittenThatIsSaidAndTheOldFileStays) {
  takes::TemporaryFolder folder;
  const auto file = kept_settings_file(folder.path / "takes.sqlite");
  ASSERT_TRUE(write_kept("old", file));
  std::filesystem::create_directory(file.string() + ".part");  // a folder where the new file should go
  const auto written = write_kept("new", file);
  ASSERT_FALSE(written);
  EXPECT_NE(written.error().message.find(file.string() + " can't be written"), std::string::npos)
      << written.error().message;
  EXPECT_EQ(text_of(file), "old");
}

}  // namespace
}  // namespace undersong::app
