#include "daemon/app/config.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <regex>
#include <sstream>

#include "protocol/messages.h"

namespace undersong::app {
namespace {

std::string shown_file() {
  std::ifstream in(std::string(UNDERSONG_SOURCE_DIR) + "/configs/undersong.toml");
  std::ostringstream out;
  out << in.rdbuf();
  return out.str();
}

TEST(Config, TheProtocolShowsTheSameSettlingTime) {
  const std::int64_t settle = Config{}.stage.settings.settle.count();
  EXPECT_EQ(protocol::Settings{}.settle_ms, settle);
  const auto shown = protocol::read_text<protocol::Settings>(protocol::GetSettings::kReplyExample, "example");
  ASSERT_TRUE(shown);
  EXPECT_EQ(shown->settle_ms, settle);
}

TEST(Config, AnEmptyFileGivesTheDefaults) {
  const auto config = parse_config("", "empty");
  ASSERT_TRUE(config);
  EXPECT_EQ(config->web_port, 8344);
  EXPECT_EQ(config->stage.silence, std::chrono::seconds(20));
}

TEST(Config, TheShownFileSaysTheDefaults) {
  const auto shown = parse_config(shown_file(), "undersong.toml");
  ASSERT_TRUE(shown) << shown.error().message;
  const Config fresh;
  EXPECT_EQ(shown->inputs, fresh.inputs);
  EXPECT_EQ(shown->service, fresh.service);
  EXPECT_EQ(shown->virtual_input, fresh.virtual_input);
  EXPECT_TRUE(differing(shown->stage.settings, fresh.stage.settings).empty());
  EXPECT_EQ(shown->stage.hear_length, fresh.stage.hear_length);
  EXPECT_EQ(shown->chords, fresh.chords);
  EXPECT_EQ(shown->chords_output, fresh.chords_output);
  EXPECT_EQ(shown->osc, fresh.osc);
  EXPECT_EQ(shown->takes_file, fresh.takes_file);
  EXPECT_EQ(shown->backups, fresh.backups);
  EXPECT_EQ(shown->stage.silence, fresh.stage.silence);
  EXPECT_EQ(shown->socket, fresh.socket);
  EXPECT_EQ(shown->web_port, fresh.web_port);
  EXPECT_EQ(shown->web_address, fresh.web_address);
  EXPECT_EQ(shown->token, fresh.token);
  EXPECT_EQ(shown->devices_port, fresh.devices_port);
  EXPECT_EQ(shown->devices_address, fresh.devices_address);
  EXPECT_EQ(shown->tls, fresh.tls);
  EXPECT_EQ(shown->log_level, fresh.log_level);
}

TEST(Config, WhatLightsAndSynthesisersAreToldIsOffUnlessAskedForAndBadValuesAreNamed) {
  EXPECT_EQ(Config{}.osc.port, 0);
  EXPECT_EQ(Config{}.osc.address, "127.0.0.1");
  EXPECT_EQ(Config{}.chords.carries, live::Carries::kNothing);
  const auto config =
      parse_config("[chords]\ncarry = \"voicing\"\nchannel = 16\n[osc]\nport = 9000\n", "x.toml");
  ASSERT_TRUE(config) << config.error().message;
  EXPECT_EQ(config->chords.carries, live::Carries::kVoicing);
  EXPECT_EQ(config->chords.channel, 15);
  EXPECT_EQ(config->osc.port, 9000);
  for (const auto& [text, wanted] :
       {std::pair{"[chords]\ncarry = \"root\"\n", "must be one of nothing, bass, voicing"},
        {"[chords]\nchannel = 17\n", "from 1 to 16"},
        {"[osc]\naddress = \"stage\"\n", "must be an address in numbers"}}) {
    const auto refused = parse_config(text, "x.toml");
    ASSERT_FALSE(refused) << text;
    EXPECT_NE(refused.error().message.find(wanted), std::string::npos) << refused.error().message;
    EXPECT_NE(refused.error().message.find("line 2"), std::string::npos) << refused.error().message;
  }
}

TEST(Config, TheExampleOfAControlWorksOnceItsCommentMarksAreTaken) {
  const std::string file = shown_file();
  const auto at = file.find("# [[controls]]");
  ASSERT_NE(at, std::string::npos);
  const std::string block = std::regex_replace(file.substr(at), std::regex("(^|\n)# ?"), "$1");
  const auto config = parse_config(block, "example");
  ASSERT_TRUE(config) << config.error().message;
  ASSERT_EQ(config->stage.settings.controls.size(), 1u);
  EXPECT_EQ(config->stage.settings.controls[0].action, listen::Action::kMark);
  EXPECT_EQ(config->stage.settings.controls[0].press, listen::Press::kDouble);
}

TEST(Config, WhatIsWrongIsSaidWithItsLine) {
  struct Case {
    const char* text;
    const char* line;
    const char* word;
  };
  for (const Case& wrong : {
           Case{"[midi]\nimputs = []", "line 2", "imputs"},
           Case{"[mdi]\n", "line 1", "mdi"},
           Case{"[listen]\n\nmelody = \"all\"", "line 3", "note, two, bar"},
           Case{"[listen]\nvoicing = \"drop 7\"", "line 2", "drop 2, spread"},
           Case{"[listen]\nlean = \"folk\"", "line 2", "found, songbook, pop, jazz, own"},
           Case{"[listen]\nreach = 24", "line 2", "12 to 16"},
           Case{"[listen]\nown = \"yes\"", "line 2", "true or false"},
           Case{"[listen]\nbrighter = 1.5", "line 2", "from -1 to 1"},
           Case{"[listen]\nbrighter = nan", "line 2", "from -1 to 1"},
           Case{"[listen]\nsymbols = \"runes\"", "line 2", "letters, signs"},
           Case{"[listen]\nkey = \"H minor\"", "line 2", "Eb minor"},
           Case{"[midi]\ninputs = \"all\"", "line 2", "list of names"},
           Case{"[midi]\nservice = \"carrier pigeon\"", "line 2", "alsa"},
           Case{"[takes]\nfile = \"takes.sqlite\"", "line 2", "absolute"},
           Case{"[server]\nweb_port = 70000", "line 2", "65535"},
           Case{"[server]\ndevices_port = -1", "line 2", "65535"},
           Case{"[server]\ntls = \"yes\"", "line 2", "true or false"},
           Case{"[log]\nlevel = 3", "line 2", "text in quotes"},
           Case{"x = ", "line 1", ""},
           Case{"[[controls]]\nmessage = \"cc 300\"\naction = \"mark\"", "line 1", "300"},
           Case{"[[controls]]\nmessage = \"cc 67\"\nverb = \"mark\"", "line 1", "verb"},
           Case{"[[controls]]\nmessage = \"cc 67\"", "line 1", "action"},
           Case{"controls = 3", "line 1", "[[controls]]"},
           Case{"midi = 3", "line 1", "[midi]"},
       }) {
    const auto config = parse_config(wrong.text, "my.toml");
    ASSERT_FALSE(config) << wrong.text;
    EXPECT_NE(config.error().message.find("my.toml"), std::string::npos) << config.error().message;
    EXPECT_NE(config.error().message.find(wrong.line), std::string::npos) << config.error().message;
    EXPECT_NE(config.error().message.find(wrong.word), std::string::npos) << config.error().message;
  }
}

TEST(Config, WhatHoldsFromTheStartToTheEndIsNamedWhereItDiffers) {
  EXPECT_TRUE(differing_at_start(Config{}, Config{}).empty());
  const auto fresh = parse_config(
      "[server]\nweb_port = 1\ntls = true\n[listen]\nbrighter = 1\n[midi]\ninputs = [\"a\"]\n", "x");
  ASSERT_TRUE(fresh);
  EXPECT_EQ(differing_at_start(Config{}, *fresh),
            (std::vector<std::string>{"server.web_port", "server.tls", "midi.inputs"}));
}

TEST(Config, PlacesFollowTheEnvironmentAndIgnoreRelativePaths) {
  setenv("HOME", "/home/player", 1);
  setenv("XDG_CONFIG_HOME", "/etc/mine", 1);
  setenv("XDG_DATA_HOME", "relative", 1);
  setenv("XDG_RUNTIME_DIR", "/run/user/7", 1);
  const Places places = default_places();
  EXPECT_EQ(places.config_file, "/etc/mine/undersong/undersong.toml");
  EXPECT_EQ(places.takes_file, "/home/player/.local/share/undersong/takes.sqlite");
  EXPECT_EQ(places.socket, "/run/user/7/undersong/socket");
}

TEST(Config, WithoutHomeTheAccountSaysWhereItIsAndNothingIsKeptInTheWorkingFolder) {
  for (const char* variable : {"HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"})
    unsetenv(variable);
  const Places places = default_places();
  for (const auto& path : {places.config_file, places.takes_file, places.state_folder})
    EXPECT_TRUE(path.empty() || path.is_absolute()) << path;
}

TEST(Config, AFileThatIsNotThereIsSaid) {
  const auto config = load_config("/nowhere/undersong.toml");
  ASSERT_FALSE(config);
  EXPECT_EQ(config.error().code, ErrorCode::kNotFound);
}

}  // namespace
}  // namespace undersong::app
