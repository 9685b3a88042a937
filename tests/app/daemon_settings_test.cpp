// Settings and the configuration: read again, changed by clients, kept over a restart.
#include "tests/app/running_daemon.h"

namespace undersong::app {
namespace {

TEST_F(DaemonTest, HangupReadsTheConfigurationAgain) {
  std::filesystem::create_directories(folder_ / ".config/undersong");
  const auto file = folder_ / ".config/undersong/undersong.toml";
  std::ofstream(file) << "[listen]\nbrighter = 0.25\n";
  start();
  Connection daemon = connect();
  EXPECT_EQ(daemon.request(protocol::GetSettings{})->wishes.brighter, 0.25);
  std::ofstream(file, std::ios::trunc) << "[listen]\nbrighter = -0.5\nsymbols = \"signs\"\n";
  daemon_->signal(SIGHUP);
  EXPECT_TRUE(eventually([&] { return daemon.request(protocol::GetSettings{})->wishes.brighter == -0.5; }));
  EXPECT_EQ(daemon.request(protocol::GetSettings{})->symbol_style, protocol::SymbolStyle::kSigns);
}

TEST_F(DaemonTest, ReadAgainTheConfigurationIsComparedWithWhatTheCommandLineSaid) {
  std::filesystem::create_directories(folder_ / ".config/undersong");
  const auto file = folder_ / ".config/undersong/undersong.toml";
  std::ofstream(file) << "[server]\nweb_port = 8345\n";
  start({"--takes", (folder_ / "elsewhere/takes.sqlite").string()});  // and without a web port
  const auto read_again = [&](const std::string& toml, double brighter) {
    Connection daemon = connect();  // it runs: it has read the file of before
    std::ofstream(file, std::ios::trunc) << toml << "[listen]\nbrighter = " << brighter << "\n";
    daemon_->signal(SIGHUP);
    return eventually([&] { return daemon.request(protocol::GetSettings{})->wishes.brighter == brighter; });
  };
  ASSERT_TRUE(read_again("[server]\nweb_port = 8346\n[takes]\nfile = \"/nowhere/takes.sqlite\"\n", 0.25));
  ASSERT_TRUE(read_again("[midi]\nvirtual_input = false\n", 0.5));
  std::string said;
  daemon_->finish(SIGTERM, said);
  const std::string warning = "These take effect only after a restart: ";
  const auto at = said.find(warning);
  ASSERT_NE(at, std::string::npos) << said;
  EXPECT_EQ(said.substr(at, said.find('\n', at) - at), warning + "midi.virtual_input.");
  EXPECT_EQ(said.find(warning, at + 1), std::string::npos) << said;
}

TEST_F(DaemonTest, SettingsThatAClientChangedAreThereAfterARestartAndCanBeTakenBack) {
  std::filesystem::create_directories(folder_ / ".config/undersong");
  const auto config = folder_ / ".config/undersong/undersong.toml";
  std::ofstream(config) << "[listen]\ntenser = 0.5\nsettle_ms = 300\n";
  start();
  {
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SetSettings{.brighter = -0.25,
                                                     .symbol_style = protocol::SymbolStyle::kSigns,
                                                     .settle_ms = 700,
                                                     .key = "Eb minor"}));
    EXPECT_EQ(daemon.request(protocol::GetSettings{})->changed.size(), 4u);
  }
  daemon_->end(SIGTERM);
  start();
  {
    Connection daemon = connect();
    const auto settings = daemon.request(protocol::GetSettings{});
    ASSERT_TRUE(settings);
    EXPECT_EQ(settings->wishes.brighter, -0.25);
    EXPECT_EQ(settings->wishes.tenser, 0.5);
    EXPECT_EQ(settings->symbol_style, protocol::SymbolStyle::kSigns);
    EXPECT_EQ(settings->settle_ms, 700);
    EXPECT_EQ(settings->key, "Eb:min");
    const auto moment = daemon.request(protocol::GetMoment{});
    ASSERT_TRUE(moment && moment->key);
    EXPECT_TRUE(moment->key->pinned);
    // Options that were edited in the configuration take effect; other changes by clients stay.
    std::ofstream(config, std::ios::trunc) << "[listen]\ntenser = 0.5\nsettle_ms = 400\n";
    daemon_->signal(SIGHUP);
    EXPECT_TRUE(eventually([&] { return daemon.request(protocol::GetSettings{})->settle_ms == 400; }));
    EXPECT_EQ(daemon.request(protocol::GetSettings{})->wishes.brighter, -0.25);
    Process doctor({UNDERSONG_CLIENT, "doctor"}, true);
    bool told = false;
    for (std::string line; !(line = doctor.read_line()).empty();)
      told |= line ==
              "ok   These settings were changed and override the configuration: brighter, symbol_style, key. "
              "`undersong settings reset` undoes the changes.";
    EXPECT_TRUE(told);
    const auto one =
        daemon.request(protocol::ResetSettings{.names = std::vector{protocol::SettingName::kBrighter}});
    ASSERT_TRUE(one);
    EXPECT_EQ(one->wishes.brighter, 0.0);
    EXPECT_EQ(one->changed, (std::vector{protocol::SettingName::kSymbolStyle, protocol::SettingName::kKey}));
    ASSERT_TRUE(daemon.request(protocol::ResetSettings{}));
    EXPECT_FALSE(daemon.request(protocol::GetMoment{})->key);
  }
  daemon_->end(SIGTERM);
  start();
  EXPECT_TRUE(connect().request(protocol::GetSettings{})->changed.empty());
  EXPECT_FALSE(std::filesystem::exists(folder_ / ".local/share/undersong/takes.sqlite.settings.toml"));
}

TEST_F(DaemonTest, KilledAfterAChangeTheSettingsAreThoseOfTheChange) {
  start();
  const auto file = folder_ / ".local/share/undersong/takes.sqlite.settings.toml";
  {
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SetSettings{.hear_velocity = 41}));
    ASSERT_TRUE(eventually([&] { return std::filesystem::exists(file); }));
  }
  daemon_->end(SIGKILL);
  start();
  EXPECT_EQ(connect().request(protocol::GetSettings{})->hear_velocity, 41);
}

TEST_F(DaemonTest, ADamagedFileOfSettingsGivesASentenceAndTheConfiguration) {
  std::filesystem::create_directories(folder_ / ".local/share/undersong");
  const auto file = folder_ / ".local/share/undersong/takes.sqlite.settings.toml";
  std::ofstream(file) << "[listen]\nbrighter = {{{\n";
  start();
  bool told = false;
  for (std::string line; !told && !(line = daemon_->read_line()).empty();)
    told = line.find("The settings are those of the configuration; the file is kept as " + file.string() +
                     ".damaged.") != std::string::npos;
  EXPECT_TRUE(told);
  Connection daemon = connect();
  EXPECT_EQ(daemon.request(protocol::GetSettings{})->wishes.brighter, 0.0);
  EXPECT_TRUE(std::filesystem::exists(file.string() + ".damaged"));
}

TEST_F(DaemonTest, APinnedKeyIsShownKeptInTheLogAndFreedAgain) {
  start();
  Connection daemon = connect();
  const auto said = [](std::vector<std::string> words) {
    words.insert(words.begin(), {UNDERSONG_CLIENT, "key"});
    return Process(words, true).read_line();
  };
  EXPECT_EQ(said({}), "No key has been found yet.");
  EXPECT_EQ(
      said({"pin"}),
      "undersong: No key has been found yet. Name the key to pin, for example `undersong key pin Ebm`.");
  EXPECT_NE(said({"pin", "H"}).find("\"H\" is no key"), std::string::npos);
  EXPECT_EQ(said({"pin", "Gb"}), "The key is pinned: Gb major.");
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({37, 53, 56, 61, 68}, true)}));
  ASSERT_TRUE(eventually([&] {
    const auto moment = daemon.request(protocol::GetMoment{});
    return moment && moment->chord && moment->chord->root_name == "Db" && !moment->melody.empty() &&
           moment->melody[0].name == "Ab4";
  }));
  EXPECT_EQ(said({}), "The key is pinned: Gb major.");
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({37, 53, 56, 61, 68}, false)}));
  ASSERT_TRUE(
      daemon.request(protocol::SendNotes{keys({42, 54, 58, 61, 66}, true)}));  // so that a key is found
  ASSERT_TRUE(eventually([&] { return daemon.request(protocol::GetMoment{})->held.size() == 5; }));
  EXPECT_EQ(said({"free"}).substr(0, 11), "The key is ");
  EXPECT_FALSE(daemon.request(protocol::GetMoment{})->key->pinned);
  ASSERT_TRUE(daemon.request(protocol::MarkTake{.text = "here"}));  // then all before it is on disk
  const auto lines = daemon.request(protocol::GetEvents{.kinds = std::vector{protocol::LineKind::kKey}});
  ASSERT_TRUE(lines);
  ASSERT_EQ(lines->lines.size(), 2u);
  EXPECT_EQ(lines->lines[0].key->harte, "Gb:maj");
  EXPECT_EQ(lines->lines[0].key->pinned, true);
  EXPECT_FALSE(lines->lines[1].key->pinned.value_or(false));
  const auto take = daemon.request(protocol::GetTake{});
  ASSERT_TRUE(take);
  ASSERT_EQ(take->keys.size(), 2u);
  EXPECT_TRUE(take->keys[0].pinned);
  EXPECT_FALSE(take->keys[1].pinned);
}

}  // namespace
}  // namespace undersong::app
