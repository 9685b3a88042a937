// What clients changed, as text and as a file; the daemon's side of it is in daemon_test.cpp.
#include "daemon/app/kept_settings.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <fstream>
#include <iterator>

#include "tests/takes/store_fixture.h"

namespace undersong::app {
namespace {

using protocol::SettingName;

protocol::SetSettings everything() {
  protocol::SetSettings change;
  change.brighter = -0.1;
  change.tenser = 0.3;
  change.surprising = 1;
  change.symbol_style = protocol::SymbolStyle::kSigns;
  change.hear_output = "Stage \"left\" \\ 2";
  change.hear_velocity = 33;
  change.settle_ms = 600;
  change.melody = protocol::MelodySpan::kBar;
  change.voicing = protocol::VoicingStyle::kDrop2;
  change.key = "Ebm";
  return change;
}

std::string text_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

TEST(KeptSettings, WhatAsTheConfigurationIsIsNotKept) {
  EXPECT_EQ(kept_text(Config{}, Config{}), "");
  const auto same = changed(Config{}, settings_of(Config{}));
  ASSERT_TRUE(same);
  EXPECT_TRUE(differing(Config{}, *same).empty());
}

TEST(KeptSettings, EverySettingComesBackFromItsText) {
  const auto now = changed(Config{}, everything());
  ASSERT_TRUE(now);
  EXPECT_EQ(differing(Config{}, *now).size(), static_cast<std::size_t>(SettingName::kKey) + 1);
  const auto back = with_kept(Config{}, kept_text(Config{}, *now), "kept");
  ASSERT_TRUE(back) << back.error().message;
  EXPECT_TRUE(differing(*now, *back).empty()) << kept_text(Config{}, *now);
}

TEST(KeptSettings, TheTextReadsAsAPersonWouldWriteIt) {
  protocol::SetSettings change;
  change.brighter = 0.3;
  change.key = "Ebm";
  change.hear_output = "Stage \"left\"";
  EXPECT_EQ(kept_text(Config{}, *changed(Config{}, change)),
            "# Settings that were changed while Undersong ran. They count before the configuration; "
            "`undersong settings reset` ends that.\n"
            "\n[listen]\nbrighter = 0.3\nkey = 'Eb minor'\n\n[hear]\noutput = 'Stage \"left\"'\n");
}

TEST(KeptSettings, OnlyWhatDiffersStandsBeforeAChangedConfiguration) {
  protocol::SetSettings change;
  change.hear_velocity = 33;
  const std::string kept = kept_text(Config{}, *changed(Config{}, change));
  Config edited;
  edited.symbol_style = harmony::SymbolStyle::kSigns;
  const auto now = with_kept(edited, kept, "kept");
  ASSERT_TRUE(now);
  EXPECT_EQ(differing(edited, *now), std::vector{SettingName::kHearVelocity});
}

TEST(KeptSettings, OptionsThatNoClientCanChangeAreNotTakenFromIt) {
  const auto now = with_kept(Config{}, "[server]\nweb_port = 1\n[hear]\nvelocity = 9\n", "kept");
  ASSERT_TRUE(now);
  EXPECT_EQ(now->web_port, Config{}.web_port);
  EXPECT_EQ(now->hear_velocity, 9);
}

TEST(KeptSettings, AKeyThatIsNoneIsSaidAndNothingIsChanged) {
  protocol::SetSettings change;
  change.key = "H dur";
  const auto refused = changed(Config{}, change);
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("\"H dur\" is no key"), std::string::npos);
}

TEST(KeptSettings, TheFileIsTheUsersAloneAndGoesWithTheLastChange) {
  takes::TemporaryFolder folder;
  const auto file = kept_settings_file(folder.path / "takes.sqlite");
  EXPECT_EQ(file.filename(), "takes.sqlite.settings.toml");
  const std::string text = kept_text(Config{}, *changed(Config{}, everything()));
  ASSERT_TRUE(write_kept(text, file));
  EXPECT_EQ(text_of(file), text);
  EXPECT_EQ(std::filesystem::status(file).permissions(),
            std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
  const auto read = read_kept(Config{}, file);
  ASSERT_TRUE(read);
  EXPECT_EQ(kept_text(Config{}, *read), text);
  ASSERT_TRUE(write_kept("", file));
  EXPECT_TRUE(std::filesystem::is_empty(folder.path));
  ASSERT_TRUE(write_kept("", file));  // nor is it an error that there is none
}

TEST(KeptSettings, ADamagedFileIsPutAsideAndSaid) {
  for (const char* damage :
       {"[listen]\nbrighter = ", "[listen]\nbrighter = 7\n", "\xff\xfe", "[listen]\nkey = \"H\"\n"}) {
    takes::TemporaryFolder folder;
    const auto file = kept_settings_file(folder.path / "takes.sqlite");
    std::ofstream(file) << damage;
    const auto read = read_kept(Config{}, file);
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
  std::filesystem::create_directory(file.string() + ".part");  // in the way
  const auto written = write_kept("new", file);
  ASSERT_FALSE(written);
  EXPECT_NE(written.error().message.find(file.string() + " can't be written"), std::string::npos)
      << written.error().message;
  EXPECT_EQ(text_of(file), "old");
}

}  // namespace
}  // namespace undersong::app
