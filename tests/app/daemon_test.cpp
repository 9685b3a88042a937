// The daemon as a process of its own, spoken to over its socket, played to over a real JACK server, killed
// and restarted. Over 400 lines: one fixture starts, kills and restarts the process for all of them.
#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <rtmidi/RtMidi.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <mutex>
#include <set>
#include <sstream>
#include <string>

#include "daemon/midi/smf.h"
#include "daemon/takes/corrected_beats.h"
#include "daemon/takes/store.h"
#include "protocol/connection.h"
#include "protocol/question_examples.h"
#include "tests/transport/jack_world.h"

namespace undersong::app {
namespace {

using namespace std::chrono_literals;
using protocol::Connection;
using transport::eventually;
using transport::JackServer;
using transport::kPatience;
using transport::Player;
using transport::Process;

class DaemonTest : public testing::Test {
 protected:
  DaemonTest() {
    char name[] = "/tmp/undersong-daemon-XXXXXX";
    folder_ = mkdtemp(name);
    // Nothing of the player's own session may be touched.
    setenv("HOME", folder_.c_str(), 1);
    setenv("XDG_RUNTIME_DIR", (folder_ / "run").c_str(), 1);
    for (const char* variable : {"XDG_CONFIG_HOME", "XDG_DATA_HOME", "NOTIFY_SOCKET"}) unsetenv(variable);
    setenv("JACK_NO_START_SERVER", "1", 1);
    setenv("JACK_DEFAULT_SERVER", "undersong-no-such-server", 1);
  }
  ~DaemonTest() override {
    daemon_.reset();
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }

  void start(std::vector<std::string> more = {}) {
    std::vector<std::string> words{UNDERSONGD, "--web-port", "0"};
    words.insert(words.end(), more.begin(), more.end());
    daemon_ = std::make_unique<Process>(words, true);
  }
  Connection connect() {
    std::optional<Connection> made;
    eventually([&] {
      auto opened = Connection::open(folder_ / "run/undersong/socket", 1s);
      if (opened) made.emplace(std::move(*opened));
      return made.has_value();
    });
    if (!made) throw std::runtime_error("the daemon does not answer");
    return std::move(*made);
  }
  // Notifications until one satisfies.
  template <class T>
  std::optional<T> until(Connection& daemon, const std::function<bool(const T&)>& enough) {
    const auto end = std::chrono::steady_clock::now() + kPatience;
    while (std::chrono::steady_clock::now() < end) {
      const auto note = daemon.next_notification(200ms);
      if (!note) return std::nullopt;
      if (!*note) continue;
      const auto read = (*note)->as<T>();
      if (read && *read && enough(**read)) return **read;
    }
    return std::nullopt;
  }
  // A file in which chords, two seconds each with three strikes of the upper notes, go round.
  std::string write_cycle(const std::vector<std::vector<int>>& chords, int rounds) {
    std::vector<midi::Event> events;
    int bar = 0;
    for (int round = 0; round < rounds; ++round)
      for (const auto& chord : chords) {
        for (int beat = 0; beat < 4; ++beat)
          for (const int key : chord) {
            if (beat > 0 && key == chord.front()) continue;
            const Micros at = Micros(2'000'000) * bar + Micros(500'000) * beat;
            const Micros end = key == chord.front() ? at + Micros(1'950'000) : at + Micros(450'000);
            events.push_back(midi::note_on(at, 0, Pitch(key), Velocity(beat == 0 ? 80 : 60)));
            events.push_back(midi::note_off(end, 0, Pitch(key)));
          }
        ++bar;
      }
    std::stable_sort(events.begin(), events.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
    const auto file = folder_ / "cycle.mid";
    EXPECT_TRUE(midi::write_smf_file(midi::smf_from_events(events, "cycle"), file));
    return file.string();
  }
  static std::vector<protocol::PlayedNote> keys(std::initializer_list<int> pitches, bool on) {
    std::vector<protocol::PlayedNote> out;
    for (int pitch : pitches) out.push_back({pitch, 70, on});
    return out;
  }

  std::filesystem::path folder_;
  std::unique_ptr<Process> daemon_;
};

TEST_F(DaemonTest, AClientsChordBecomesAMomentWithAlternativesAndATake) {
  start();
  Connection daemon = connect();
  ASSERT_TRUE(
      daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment, protocol::Topic::kLog}}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({38, 53, 57, 60, 64, 76}, true)}));
  const auto moment = until<protocol::Moment>(daemon, [](const auto& m) {
    return m.chord && m.chord->root == 2 && !m.melody.empty() && m.alternatives.size() >= 24;
  });
  ASSERT_TRUE(moment);
  EXPECT_EQ(moment->melody[0].pitch, 76);
  EXPECT_EQ(moment->chord->quality.substr(0, 3), "min");
  std::set<std::int64_t> roots;
  for (const auto& offered : moment->alternatives) roots.insert(offered.root);
  EXPECT_EQ(roots.size(), 12u);
  const auto marked = daemon.request(protocol::MarkTake{.text = "here"});
  ASSERT_TRUE(marked);
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({38, 53, 57, 60, 64, 76}, false)}));
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  const auto takes = daemon.request(protocol::ListTakes{});
  ASSERT_TRUE(takes);
  ASSERT_EQ(takes->takes.size(), 1u);
  EXPECT_EQ(takes->takes[0].notes, 6u);
  EXPECT_EQ(takes->takes[0].marks, 1u);
  EXPECT_EQ(takes->takes[0].ended, "request");
  EXPECT_FALSE(daemon.request(protocol::MarkTake{}));  // no take any more: said, not kept
}

// The answer of a web server on loopback to a request for its first page; empty while it can't be reached.
std::string first_page(std::uint16_t port) {
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  std::string answer;
  if (::connect(fd, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0) {
    const std::string ask =
        "GET / HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(port) + "\r\nConnection: close\r\n\r\n";
    if (::send(fd, ask.data(), ask.size(), MSG_NOSIGNAL) > 0) {
      char chunk[4096];
      for (ssize_t got; (got = ::read(fd, chunk, sizeof chunk)) > 0;)
        answer.append(chunk, static_cast<std::size_t>(got));
    }
  }
  ::close(fd);
  return answer;
}

TEST_F(DaemonTest, InstalledItServesThePageThatWasInstalledBesideIt) {
  std::filesystem::create_directories(folder_ / "usr/bin");
  std::filesystem::create_directories(folder_ / "usr/share/undersong/page");
  std::filesystem::copy_file(UNDERSONGD, folder_ / "usr/bin/undersongd");
  std::ofstream(folder_ / "usr/share/undersong/page/index.html")
      << "<!doctype html><title>installed here</title>";
  // A port that is free just now.
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  ASSERT_EQ(::bind(fd, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  socklen_t size = sizeof address;
  ASSERT_EQ(::getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size), 0);
  ::close(fd);
  const std::uint16_t port = ntohs(address.sin_port);
  daemon_ = std::make_unique<Process>(
      std::vector<std::string>{folder_ / "usr/bin/undersongd", "--web-port", std::to_string(port)}, true);
  ASSERT_TRUE(eventually([&] { return first_page(port).find("installed here") != std::string::npos; }));
  const auto places = connect().request(protocol::GetPlaces{});
  ASSERT_TRUE(places);
  ASSERT_TRUE(places->page.has_value());
  EXPECT_EQ(*places->page, "http://127.0.0.1:" + std::to_string(port) + "/");
  EXPECT_EQ(places->takes, (folder_ / ".local/share/undersong/takes.sqlite").string());
  EXPECT_FALSE(places->configured);
}

TEST_F(DaemonTest, WishesReorderTheListAndHoldKeepsIt) {
  start();
  Connection daemon = connect();
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment}}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({36, 52, 55, 59, 72}, true)}));
  const auto before =
      until<protocol::Moment>(daemon, [](const auto& m) { return m.alternatives.size() >= 24; });
  ASSERT_TRUE(before);
  const auto settings = daemon.request(protocol::SetSettings{.brighter = -1, .surprising = 0.5});
  ASSERT_TRUE(settings);
  EXPECT_EQ(settings->wishes.brighter, -1.0);
  const auto after = until<protocol::Moment>(
      daemon, [&](const auto& m) { return m.alternatives_number > before->alternatives_number; });
  ASSERT_TRUE(after);
  EXPECT_NE(after->alternatives[0].harte, before->alternatives[0].harte);
  ASSERT_TRUE(daemon.request(protocol::Hold{.on = true}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({41, 57, 60, 64, 77}, true)}));
  const auto held =
      until<protocol::Moment>(daemon, [](const auto& m) { return m.still && m.held.size() > 8; });
  ASSERT_TRUE(held);
  EXPECT_EQ(held->alternatives_number, after->alternatives_number);
  EXPECT_FALSE(daemon.request(protocol::SetSettings{.brighter = 7}));
}

TEST_F(DaemonTest, AChordIsLaidOutInSeveralWaysUnderTheHeldNoteAndTheListInTheStyleThatWasChosen) {
  start();
  Connection daemon = connect();
  const auto silent = daemon.request(protocol::VoiceChord{.harte = "D:min9"});
  ASSERT_TRUE(silent);
  EXPECT_TRUE(silent->voicings.empty());
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({36, 52, 55, 59, 74}, true)}));
  ASSERT_TRUE(eventually([&] {
    const auto moment = daemon.request(protocol::GetMoment{});
    return moment && !moment->alternatives.empty();
  }));
  const auto ways = daemon.request(protocol::VoiceChord{.harte = "D:min9"});
  ASSERT_TRUE(ways);
  ASSERT_GE(ways->voicings.size(), 2u);
  EXPECT_LE(ways->voicings.size(), 4u);
  for (const auto& way : ways->voicings) EXPECT_EQ(way.right.back().value, 74);
  const auto wrong = daemon.request(protocol::VoiceChord{.harte = "H:maj"});
  ASSERT_FALSE(wrong);
  EXPECT_NE(wrong.error().sentence.find("H:maj"), std::string::npos);

  const auto settings = daemon.request(protocol::SetSettings{.melody = protocol::MelodySpan::kNote,
                                                             .voicing = protocol::VoicingStyle::kShell});
  ASSERT_TRUE(settings);
  EXPECT_EQ(settings->voicing, protocol::VoicingStyle::kShell);
  const auto moment = daemon.request(protocol::GetMoment{});
  ASSERT_TRUE(moment);
  std::size_t shells = 0;  // at most root, third, seventh under the melody
  for (const auto& offered : moment->alternatives) shells += offered.left.size() + offered.right.size() <= 4;
  EXPECT_GT(shells, moment->alternatives.size() / 2);
}

TEST_F(DaemonTest, AClientThatGoesLetsGoOfItsKeys) {
  start();
  Connection watcher = connect();
  ASSERT_TRUE(watcher.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment}}));
  {
    Connection player = connect();
    ASSERT_TRUE(player.request(protocol::SendNotes{keys({48, 64, 67}, true)}));
    ASSERT_TRUE(until<protocol::Moment>(watcher, [](const auto& m) { return m.held.size() == 3; }));
  }
  EXPECT_TRUE(until<protocol::Moment>(watcher, [](const auto& m) { return m.held.empty(); }));
}

TEST_F(DaemonTest, KilledInTheMiddleTheTakeIsThereAndClosedAtTheNextStart) {
  start();
  std::uint64_t last = 0;
  {
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67, 72}, true)}));
    std::optional<protocol::Read<protocol::Kept>> marked;
    ASSERT_TRUE(eventually([&] {
      marked = daemon.request(protocol::MarkTake{.text = "kept"});
      return bool(*marked);
    }));
    last = (*marked)->number;  // answered: on disk
  }
  daemon_->end(SIGKILL);
  start();
  Connection daemon = connect();
  const auto takes = daemon.request(protocol::ListTakes{});
  ASSERT_TRUE(takes);
  ASSERT_EQ(takes->takes.size(), 1u);
  EXPECT_EQ(takes->takes[0].ended, "interrupted");
  EXPECT_EQ(takes->takes[0].notes, 4u);
  const auto lines = daemon.request(protocol::GetEvents{.take = std::nullopt, .from = 1, .limit = 2000});
  ASSERT_TRUE(lines);
  ASSERT_GE(lines->lines.size(), last);
  for (std::size_t i = 0; i < lines->lines.size(); ++i) EXPECT_EQ(lines->lines[i].number, i + 1);
  EXPECT_EQ(lines->lines[last - 1].text, "kept");
}

TEST_F(DaemonTest, AskedToStopItClosesTheTake) {
  start();
  {
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67}, true)}));
    ASSERT_TRUE(eventually([&] { return bool(daemon.request(protocol::MarkTake{})); }));
  }
  daemon_->end(SIGTERM);
  EXPECT_FALSE(std::filesystem::exists(folder_ / "run/undersong/socket"));
  start();
  const auto takes = connect().request(protocol::ListTakes{});
  ASSERT_TRUE(takes);
  ASSERT_EQ(takes->takes.size(), 1u);
  EXPECT_EQ(takes->takes[0].ended, "stop");
}

TEST_F(DaemonTest, StoppedWithADiskThatTakesNoMoreItSaysSoAndTheNextStartHasEveryNote) {
  // A limit on the size of files, as a disk that is full.
  daemon_ = std::make_unique<Process>(
      std::vector<std::string>{"bash", "-c",
                               std::string("ulimit -f 200; exec ") + UNDERSONGD + " --web-port 0"},
      true);
  std::uint64_t played = 0;
  {
    Connection daemon = connect();
    ASSERT_TRUE(eventually([&] {
      for (int i = 0; i < 20; ++i) {
        const int key = 40 + i;
        if (!daemon.request(protocol::SendNotes{keys({key}, true)}) ||
            !daemon.request(protocol::SendNotes{keys({key}, false)}))
          return false;
        ++played;
      }
      const auto status = daemon.request(protocol::GetStatus{});
      return status && !status->store.good && status->store.waiting > 100;
    }));
  }
  std::string said;
  EXPECT_EQ(daemon_->finish(SIGTERM, said), 3);
  const std::string spilled = " lines could not be written there; they are in " +
                              (folder_ / ".local/share/undersong/takes.sqlite.waiting-").string();
  EXPECT_NE(said.find("Stopped, but not everything is in the takes. "), std::string::npos) << said;
  EXPECT_NE(said.find(spilled), std::string::npos) << said;
  EXPECT_EQ(said.find("closed and kept"), std::string::npos) << said;
  start();
  {
    Connection daemon = connect();
    const auto takes = daemon.request(protocol::ListTakes{});
    ASSERT_TRUE(takes);
    ASSERT_EQ(takes->takes.size(), 1u);
    EXPECT_EQ(takes->takes[0].notes, played);
    EXPECT_EQ(takes->takes[0].ended, "stop");
    EXPECT_NE(daemon.request(protocol::GetStatus{})->store.sentence.find("have been read back"),
              std::string::npos);
  }
  said.clear();
  EXPECT_EQ(daemon_->finish(SIGTERM, said), 0);
  EXPECT_NE(said.find("Stopped; the take is closed and kept."), std::string::npos) << said;
}

TEST_F(DaemonTest, ASecondDaemonGivesWayAndTheFirstGoesOn) {
  start();
  Connection first = connect();
  Process second({UNDERSONGD, "--web-port", "0"}, true);
  const std::string said = second.read_line();
  EXPECT_NE(said.find("Another undersongd is running"), std::string::npos) << said;
  EXPECT_TRUE(first.request(protocol::GetStatus{}));
}

TEST_F(DaemonTest, ASocketLeftBehindByAKilledDaemonIsNoHindrance) {
  start();
  (void)connect();
  daemon_->end(SIGKILL);
  ASSERT_TRUE(std::filesystem::exists(folder_ / "run/undersong/socket"));
  start();
  EXPECT_TRUE(connect().request(protocol::GetStatus{}));
}

TEST_F(DaemonTest, AWrongConfigurationIsSaidInOneSentenceAndNothingStarts) {
  std::filesystem::create_directories(folder_ / ".config/undersong");
  std::ofstream(folder_ / ".config/undersong/undersong.toml") << "[takes]\nsilence = 3\n";
  start();
  const std::string said = daemon_->read_line();
  EXPECT_NE(said.find("undersong.toml, line 2: silence is no option of [takes]"), std::string::npos) << said;
}

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
    // What was edited in the configuration counts from then on; the rest of what was changed stays.
    std::ofstream(config, std::ios::trunc) << "[listen]\ntenser = 0.5\nsettle_ms = 400\n";
    daemon_->signal(SIGHUP);
    EXPECT_TRUE(eventually([&] { return daemon.request(protocol::GetSettings{})->settle_ms == 400; }));
    EXPECT_EQ(daemon.request(protocol::GetSettings{})->wishes.brighter, -0.25);
    Process doctor({UNDERSONG_CLIENT, "doctor"}, true);
    bool told = false;
    for (std::string line; !(line = doctor.read_line()).empty();)
      told |= line ==
              "ok   Settings that were changed and count before the configuration: brighter, symbol_style, "
              "key. `undersong settings reset` ends that.";
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
  EXPECT_EQ(said({}), "No key has been heard yet.");
  EXPECT_EQ(said({"pin"}),
            "undersong: No key has been heard yet; name the one to pin, as in `undersong key pin Ebm`.");
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
      daemon.request(protocol::SendNotes{keys({42, 54, 58, 61, 66}, true)}));  // so that a key has been heard
  ASSERT_TRUE(eventually([&] { return daemon.request(protocol::GetMoment{})->held.size() == 5; }));
  EXPECT_EQ(said({"free"}).substr(0, 11), "The key is ");
  EXPECT_FALSE(daemon.request(protocol::GetMoment{})->key->pinned);
  ASSERT_TRUE(daemon.request(protocol::MarkTake{.text = "here"}));  // all before it is on disk
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

// At a hundred times its speed the file's time isn't that of the clock: what falls due 30 ms after a note
// does so before the next.
TEST_F(DaemonTest, AFilePlayedFasterTellsTheMelodyBeforeTheNextEventComes) {
  std::vector<midi::Event> events;
  for (const int key : {48, 64, 67, 76})
    events.push_back(midi::note_on(Micros(200'000'000), 0, Pitch(key), Velocity(80)));
  for (const int key : {48, 64, 67, 76})
    events.push_back(midi::note_off(Micros(3'600'000'000), 0, Pitch(key)));
  const auto file = folder_ / "held.mid";
  ASSERT_TRUE(midi::write_smf_file(midi::smf_from_events(events, "held"), file));
  start({"--play", file, "--speed", "100"});
  Connection daemon = connect();
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment}}));
  const auto moment = until<protocol::Moment>(daemon, [](const auto& m) { return !m.melody.empty(); });
  ASSERT_TRUE(moment);
  EXPECT_EQ(moment->held.size(), 4u);
  EXPECT_EQ(moment->melody[0].name, "E5");
}

TEST_F(DaemonTest, AFilePlayedToTheDaemonAndToAnalyseGivesTheSameChords) {
  const std::string demo = UNDERSONG_SOURCE_DIR "/configs/demo.mid";
  start({"--play", demo, "--speed", "1000"});
  Connection daemon = connect();
  std::optional<protocol::TakeSummary> take;
  ASSERT_TRUE(eventually([&] {
    const auto takes = daemon.request(protocol::ListTakes{});
    if (takes && !takes->takes.empty() && takes->takes[0].ended) take = takes->takes[0];
    return take.has_value();
  }));
  std::vector<std::string> live;
  for (std::uint64_t from = take->first_line; from != 0;) {
    const auto lines = daemon.request(protocol::GetEvents{.take = take->take, .from = from, .limit = 2000});
    ASSERT_TRUE(lines);
    for (const auto& line : lines->lines)
      if (line.kind == protocol::LineKind::kChord)
        live.push_back(std::to_string(line.at - take->at) + " " + line.chord->harte);
    from = lines->more ? lines->next : 0;
  }
  Process analyse({UNDERSONG_CLIENT, "analyse", demo, "--events"}, true);
  std::vector<std::string> file;
  std::optional<std::int64_t> first;
  for (std::string line; !(line = analyse.read_line()).empty();) {
    const auto event = boost::json::parse(line).as_object();
    if (!event.contains("chord")) continue;
    const auto since = static_cast<std::int64_t>(std::llround(event.at("since").to_number<double>() * 1e6));
    if (!first) first = since;
    file.push_back(std::to_string(since - *first) + " " + std::string(event.at("chord").as_string()));
  }
  EXPECT_GT(file.size(), 40u);
  ASSERT_EQ(live.size(), file.size())
      << (live.empty() ? "" : live.back()) << " / " << (file.empty() ? "" : file.back());
  for (std::size_t i = 0; i < live.size(); ++i) EXPECT_EQ(live[i], file[i]);
}

// G held on top, and twelve roots tried under it, with a fifth, third and seventh each; Db comes back at the
// end.
std::string write_twelve_roots(const std::filesystem::path& folder) {
  std::vector<midi::Event> events{midi::note_on(Micros(0), 0, Pitch(79), Velocity(80))};
  Micros at(500'000);
  for (const int root : {0, 5, 10, 3, 8, 1, 6, 11, 4, 9, 2, 7, 1}) {
    for (const int above : {0, 7, 16, 23}) {
      events.push_back(midi::note_on(at, 0, Pitch(36 + root + above), Velocity(72)));
      events.push_back(midi::note_off(at + Micros(1'400'000), 0, Pitch(36 + root + above)));
    }
    at += Micros(1'500'000);
  }
  events.push_back(midi::note_off(at, 0, Pitch(79)));
  std::stable_sort(events.begin(), events.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  const auto file = folder / "roots.mid";
  EXPECT_TRUE(midi::write_smf_file(midi::smf_from_events(events, "roots"), file));
  return file.string();
}

TEST_F(DaemonTest, WhatWasTriedUnderAHeldNoteIsAskedForInWordsAlsoAfterARestart) {
  {
    start({"--play", write_twelve_roots(folder_), "--speed", "1000"});
    Connection daemon = connect();
    ASSERT_TRUE(eventually([&] {
      const auto takes = daemon.request(protocol::ListTakes{});
      return takes && !takes->takes.empty() && takes->takes[0].ended;
    }));
  }
  for (const bool restarted : {false, true}) {
    if (restarted) {
      daemon_->end(SIGTERM);
      start();
    }
    Connection daemon = connect();
    const auto found = daemon.request(protocol::FindMoments{.question = "Db under G"});
    ASSERT_TRUE(found) << found.error().sentence;
    EXPECT_EQ(found->understood, "any chord on Db under G");
    EXPECT_EQ(found->unheard, 0u);
    ASSERT_EQ(found->moments.size(), 2u);
    const auto& newest = found->moments[0];
    EXPECT_EQ(newest.take, 1u);
    EXPECT_EQ(newest.name, "G5");
    EXPECT_EQ(newest.degree, "#11");
    EXPECT_EQ(newest.chords.at(0).root_name, "Db");
    EXPECT_EQ(newest.time, 2u);
    EXPECT_EQ(newest.times, 2u);
    EXPECT_NEAR(static_cast<double>(newest.from_us), 18.5e6, 3e5);
    EXPECT_NEAR(static_cast<double>(newest.length_us), 1.5e6, 3e5);
    std::set<std::int64_t> roots;
    const auto all = daemon.request(protocol::GetMeetings{});
    ASSERT_TRUE(all);
    EXPECT_TRUE(all->heard);
    for (const auto& met : all->meetings)
      if (met.pitch == 79) roots.insert(met.root);
    EXPECT_EQ(roots.size(), 12u);
    const auto wrong = daemon.request(protocol::FindMoments{.question = "Db beneath G"});
    ASSERT_FALSE(wrong);
    EXPECT_NE(wrong.error().sentence.find("\"beneath\" at column 4"), std::string::npos)
        << wrong.error().sentence;
    const auto near = daemon.request(protocol::FindMoments{.question = "Db under A"});
    ASSERT_TRUE(near);
    ASSERT_EQ(near->near.size(), 2u);
    EXPECT_EQ(near->near[0].words, "any chord on Db");
    for (const auto& example : protocol::kQuestionExamples)
      EXPECT_TRUE(daemon.request(protocol::FindMoments{.question = std::string(example.question)}))
          << example.question;
  }
  Process client({UNDERSONG_CLIENT, "moments", "Db", "under", "G"}, true);
  EXPECT_EQ(client.read_line(), "any chord on Db under G:");
  const std::string line = client.read_line();
  EXPECT_NE(line.find("under G5 (#11)  2nd of 2 times"), std::string::npos) << line;
}

// What a store looks like that an older program kept: everything but what the newest ear heard.
TEST_F(DaemonTest, AnOlderStoreIsListenedToAgainInTheBackgroundAndKilledInTheMiddleItGoesOn) {
  {
    start({"--play", write_twelve_roots(folder_), "--speed", "1000"});
    Connection daemon = connect();
    ASSERT_TRUE(eventually([&] {
      const auto takes = daemon.request(protocol::ListTakes{});
      return takes && !takes->takes.empty() && takes->takes[0].ended;
    }));
    daemon_->end(SIGTERM);
  }
  constexpr int kTakes = 60;
  const auto path = folder_ / ".local/share/undersong/takes.sqlite";
  {
    SQLite::Database file(path.string(), SQLite::OPEN_READWRITE);
    file.exec("DELETE FROM log WHERE kind = 20");
    SQLite::Transaction all(file);
    for (int take = 2; take <= kTakes; ++take) {
      const std::string n = std::to_string(take);
      file.exec("INSERT INTO takes SELECT " + n + ", begin_utc_ms + " + n +
                ", at, last_at, ended, title, annotation, key, notes, chords, marks, deleted, first_line, "
                "last_line FROM takes WHERE take = 1");
      file.exec("INSERT INTO log(take, at, kind, data) SELECT " + n +
                ", at, kind, data FROM log WHERE take = 1 ORDER BY number");
    }
    file.exec(
        "DROP TABLE meetings; DROP TABLE statements; DROP TABLE chord_kinds; DROP TABLE heard; PRAGMA "
        "user_version = 1");
    all.commit();
  }
  const auto heard = [&] {
    SQLite::Database file(path.string(), SQLite::OPEN_READONLY);
    file.setBusyTimeout(5000);
    if (file.execAndGet("PRAGMA user_version").getInt() < 2) return 0;
    return file.execAndGet("SELECT count(*) FROM heard").getInt();
  };
  start();
  ASSERT_TRUE(eventually([&] { return heard() > 0; }));
  daemon_->end(SIGKILL);
  const int before = heard();
  start();
  Connection daemon = connect();
  // Questions are answered meanwhile, and say what is missing.
  const auto early = daemon.request(protocol::FindMoments{.question = "Db under G", .limit = 200});
  ASSERT_TRUE(early);
  EXPECT_GE(early->moments.size() / 2 + early->unheard, static_cast<std::size_t>(kTakes));
  ASSERT_TRUE(eventually([&] {
    const auto found = daemon.request(protocol::FindMoments{.question = "Db under G", .limit = 200});
    return found && found->unheard == 0;
  }));
  EXPECT_EQ(daemon.request(protocol::FindMoments{.question = "Db under G", .limit = 200})->moments.size(),
            static_cast<std::size_t>(2 * kTakes));
  EXPECT_GE(heard(), before);
  EXPECT_EQ(heard(), kTakes);
}

TEST_F(DaemonTest, ATakeIsExportedAsTheNotesThatWerePlayed) {
  const std::string demo = UNDERSONG_SOURCE_DIR "/configs/demo.mid";
  start({"--play", demo, "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(eventually([&] {
    const auto takes = daemon.request(protocol::ListTakes{});
    return takes && !takes->takes.empty() && takes->takes[0].ended;
  }));
  const auto out = folder_ / "take.mid";
  Process client({UNDERSONG_CLIENT, "export", "-o", out.string()}, true);
  EXPECT_EQ(client.read_line(), "Take 1 is in " + out.string() + ".");
  const auto written = midi::read_smf_file(out), played = midi::read_smf_file(demo);
  ASSERT_TRUE(written);
  const auto notes = [](const midi::Smf& file) {
    std::vector<std::array<std::uint8_t, 3>> bytes;
    for (const auto& event : midi::merged_events(file)) bytes.push_back(event.bytes);
    return bytes;
  };
  EXPECT_EQ(notes(*written), notes(*played));
}

TEST_F(DaemonTest, TheLoopOfAKeptTakeIsToldReharmonisedAndHandedOver) {
  start({"--play", UNDERSONG_SOURCE_DIR "/configs/demo.mid", "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(eventually([&] {
    const auto takes = daemon.request(protocol::ListTakes{});
    return takes && !takes->takes.empty() && takes->takes[0].ended;
  }));
  const auto said = [](std::vector<std::string> words) {
    words.insert(words.begin(), {UNDERSONG_CLIENT, "take"});
    Process client(words, true);
    std::vector<std::string> lines;
    for (int i = 0; i < 400; ++i) {
      lines.push_back(client.read_line());
      if (lines.back().empty() && lines.size() > 1 && lines[lines.size() - 2].empty()) break;
    }
    return lines;
  };
  EXPECT_EQ(said({"loop"}).at(0), "Loop   Ebmaj9 (2) Cm7 (2) Abmaj7 (2) G7sus4 (2)");
  const auto other = said({"reharmonise", "1", "--keep", "1,2"});
  EXPECT_EQ(other.at(0), "Loop   Ebmaj9  Cm7  Abmaj7  G7sus4");
  EXPECT_EQ(other.at(3).find(" 1  Ebmaj9  Cm7  "), 0u) << other.at(3);
  // The same take with the signs that the player chooses.
  ASSERT_TRUE(daemon.request(protocol::SetSettings{.symbol_style = protocol::SymbolStyle::kSigns}));
  EXPECT_EQ(said({"loop"}).at(0), "Loop   EbΔ9 (2) C-7 (2) AbΔ7 (2) G7sus4 (2)");
  EXPECT_EQ(said({"reharmonise", "1", "--count", "1"}).at(0), "Loop   EbΔ9  C-7  AbΔ7  G7sus4");
  {
    Process show({UNDERSONG_CLIENT, "show", "1"}, true);
    std::string lines;
    for (int i = 0; i < 40; ++i) lines += show.read_line() + "\n";
    EXPECT_NE(lines.find("EbΔ9"), std::string::npos) << lines;
    EXPECT_EQ(lines.find("maj7"), std::string::npos) << lines;
    EXPECT_NE(lines.find("C-7"), std::string::npos) << lines;
  }
  const auto out = folder_ / "parts";
  EXPECT_EQ(said({"hand-over", "1", out.string()}).at(0).find((out / "parts.mid").string()), 0u);
  for (const char* name : {"parts.mid", "lead_sheet.musicxml", "chart.txt"})
    EXPECT_GT(std::filesystem::file_size(out / name), 100u) << name;
  EXPECT_TRUE(midi::read_smf_file(out / "parts.mid"));
}

TEST_F(DaemonTest, ASongOfKeptTakesIsMadeShownHandedOverAndTakenOffTheList) {
  start({"--play", UNDERSONG_SOURCE_DIR "/configs/demo.mid", "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(eventually([&] {
    const auto takes = daemon.request(protocol::ListTakes{});
    return takes && !takes->takes.empty() && takes->takes[0].ended;
  }));
  const auto first_line = [](std::vector<std::string> words) {
    words.insert(words.begin(), {UNDERSONG_CLIENT, "song"});
    Process client(words, true);
    return client.read_line();
  };
  EXPECT_EQ(first_line({"list"}), "No song is kept yet; undersong song new NAME TAKE makes one.");
  EXPECT_EQ(first_line({"new", "rounds", "1", "--title", "Evening rounds"}), "Kept as rounds.");
  EXPECT_EQ(first_line({"new", "rounds", "1"}),
            "undersong: There is a song rounds already; --force puts the new one in its place.");
  const auto kept = daemon.request(protocol::GetKeptSketch{.name = "rounds"});
  ASSERT_TRUE(kept);
  EXPECT_EQ(kept->sketch.title, "Evening rounds");
  EXPECT_EQ(first_line({"show", "rounds"}), "title = \"Evening rounds\"");
  EXPECT_EQ(first_line({"check", "rounds"}).find("Evening rounds: C:min, 4/4, 7"), 0u);
  EXPECT_EQ(first_line({"list"}).find("rounds "), 0u);
  const auto out = folder_ / "song";
  Process handing({UNDERSONG_CLIENT, "song", "hand-over", "rounds", out.string()}, true);
  for (const char* name : {"song.mid", "lead_sheet.musicxml", "chart.txt"})
    EXPECT_EQ(handing.read_line().find((out / name).string()), 0u) << name;
  EXPECT_TRUE(midi::read_smf_file(out / "song.mid"));
  EXPECT_EQ(first_line({"delete", "rounds"}),
            "rounds is off the list; its file is kept under a name that ends in .deleted.");
  EXPECT_FALSE(daemon.request(protocol::GetKeptSketch{.name = "rounds"}));
}

// ---- over a real MIDI transport

// Somebody who listens at an output.
class OutputEar {
 public:
  explicit OutputEar(const std::string& port) : in_(RtMidi::UNIX_JACK, "Somebody") {
    in_.setCallback(
        [](double, std::vector<unsigned char>* message, void* self) {
          auto& ear = *static_cast<OutputEar*>(self);
          const std::lock_guard lock(ear.mutex_);
          if (message->size() == 3) ear.messages_.push_back({(*message)[0], (*message)[1], (*message)[2]});
        },
        this);
    opened = eventually([&] {
      for (unsigned i = 0; i < in_.getPortCount(); ++i)
        if (in_.getPortName(i).find(port) != std::string::npos) {
          in_.openPort(i, "in");
          return true;
        }
      return false;
    });
  }
  std::vector<int> struck() {
    const std::lock_guard lock(mutex_);
    std::vector<int> out;
    for (const auto& m : messages_)
      if ((m[0] & 0xF0) == 0x90 && m[2] > 0) out.push_back(m[1]);
    return out;
  }
  std::size_t let_go() {
    const std::lock_guard lock(mutex_);
    return static_cast<std::size_t>(std::count_if(messages_.begin(), messages_.end(), [](const auto& m) {
      return (m[0] & 0xF0) == 0x80 || ((m[0] & 0xF0) == 0x90 && m[2] == 0);
    }));
  }
  int loudest() {
    const std::lock_guard lock(mutex_);
    int most = 0;
    for (const auto& m : messages_)
      if ((m[0] & 0xF0) == 0x90) most = std::max<int>(most, m[2]);
    return most;
  }
  bool opened = false;

 private:
  std::mutex mutex_;
  std::vector<std::array<unsigned char, 3>> messages_;
  RtMidiIn in_;
};

class DaemonOverJack : public DaemonTest {
 protected:
  void SetUp() override {
    if (!transport::have_jackd()) GTEST_SKIP() << "jackd is not installed (Debian: jackd2)";
    jack_ = std::make_unique<JackServer>();
    ASSERT_TRUE(jack_->start());
  }
  void TearDown() override {
    daemon_.reset();
    jack_.reset();
  }
  void configure(const std::string& toml) {
    std::filesystem::create_directories(folder_ / ".config/undersong");
    std::ofstream(folder_ / ".config/undersong/undersong.toml") << toml;
  }
  // Take 1 goes round F Dm Gm C, six times; the daemon runs after it.
  void keep_a_loop() {
    const std::vector<std::vector<int>> chords{
        {41, 57, 60, 65}, {38, 57, 62, 65}, {43, 58, 62, 67}, {36, 55, 60, 64}};
    {
      start({"--play", write_cycle(chords, 6), "--speed", "1000"});
      Connection daemon = connect();
      ASSERT_TRUE(eventually([&] {
        const auto takes = daemon.request(protocol::ListTakes{});
        return takes && !takes->takes.empty() && takes->takes[0].ended;
      }));
    }
    daemon_->end(SIGTERM);
    start();
  }
  bool until_connected(Connection& daemon, const std::string& name) {
    return eventually([&] {
      const auto status = daemon.request(protocol::GetStatus{});
      if (!status) return false;
      for (const auto& port : status->ports)
        if (port.connected && port.name.find(name) != std::string::npos) return true;
      return false;
    });
  }
  static void strike(Player& keys, std::initializer_list<int> pitches) {
    for (int pitch : pitches) {
      std::ostringstream order;
      order << "send 90 " << std::hex << pitch << " 48";
      ASSERT_EQ(keys.order(order.str()), "ok");
    }
  }

  std::unique_ptr<JackServer> jack_;
};

TEST_F(DaemonOverJack, AKeyboardIsHeardAndUnpluggedWithKeysDownItsNotesEnd) {
  start();
  Connection daemon = connect();
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment}}));
  Player keys("Stage keys");
  ASSERT_TRUE(until_connected(daemon, "Stage keys"));
  // A port is known before it is wired up; the first note may go before that.
  ASSERT_TRUE(eventually([&] {
    strike(keys, {36, 52, 55, 59, 74});
    const auto note = daemon.next_notification(100ms);
    return note && *note && (*note)->method == "moment";
  }));
  const auto moment =
      until<protocol::Moment>(daemon, [](const auto& m) { return m.chord && m.held.size() == 5; });
  ASSERT_TRUE(moment);
  EXPECT_EQ(moment->chord->root, 0);
  keys.leave();
  EXPECT_TRUE(until<protocol::Moment>(daemon, [](const auto& m) { return m.held.empty(); }));
}

TEST_F(DaemonOverJack, ASuggestionIsPlayedSoftlyOnARealOutputAndNeverHeardAsPlaying) {
  // The instrument that plays the suggestion echoes everything it gets.
  Player echoer("Echoer", true);
  configure("[hear]\noutput = \"Echoer in\"\nvelocity = 40\nlength_ms = 300\n");
  start();
  Connection daemon = connect();
  ASSERT_TRUE(until_connected(daemon, "Echoer:out"));
  OutputEar ear("Echoer:out");
  ASSERT_TRUE(ear.opened);
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment}}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({36, 52, 55, 59, 74}, true)}));
  const auto moment = until<protocol::Moment>(
      daemon, [](const auto& m) { return !m.alternatives.empty() && m.held.size() == 5; });
  ASSERT_TRUE(moment);
  // The output may still be looked for; what was asked is then refused with a sentence, and asked again.
  ASSERT_TRUE(eventually([&] { return bool(daemon.request(protocol::Hear{.place = 2})); }));
  const auto now = daemon.request(protocol::GetMoment{});
  ASSERT_TRUE(now);
  std::set<int> wanted;
  for (const auto& pitch : now->alternatives[2].left) wanted.insert(static_cast<int>(pitch));
  for (const auto& pitch : now->alternatives[2].right) wanted.insert(static_cast<int>(pitch));
  ASSERT_TRUE(eventually([&] {
    const auto struck = ear.struck();
    return std::set<int>(struck.begin(), struck.end()) == wanted && ear.let_go() == wanted.size();
  }));
  EXPECT_LE(ear.loudest(), 60);
  const auto after = daemon.request(protocol::GetMoment{});
  ASSERT_TRUE(after);
  EXPECT_EQ(after->held.size(), 5u) << "only the client's keys are held";
  EXPECT_EQ(daemon.request(protocol::GetStatus{})->take->notes, 5u);
}

// Wires an output to an input, as somebody does in a patchbay by mistake.
bool wire(const std::string& from, const std::string& to) {
  jack_client_t* hand = jack_client_open("hand", JackNoStartServer, nullptr);
  if (!hand) return false;
  const auto find = [&](const std::string& part, unsigned long flags) {
    std::string found;
    const char** ports = jack_get_ports(hand, nullptr, JACK_DEFAULT_MIDI_TYPE, flags);
    for (const char** port = ports; port && *port; ++port)
      if (std::string(*port).find(part) != std::string::npos) found = *port;
    jack_free(ports);
    return found;
  };
  const std::string out = find(from, JackPortIsOutput), in = find(to, JackPortIsInput);
  const bool wired = !out.empty() && !in.empty() && jack_connect(hand, out.c_str(), in.c_str()) == 0;
  jack_client_close(hand);
  return wired;
}

TEST_F(DaemonOverJack, ThePlayersOwnKeyRightAfterOursIsKeptWhereNothingIsSentBack) {
  start();
  Connection daemon = connect();
  Player stage("Stage keys");
  ASSERT_TRUE(until_connected(daemon, "Stage keys"));
  OutputEar ear("Undersong out");
  ASSERT_TRUE(ear.opened);
  const auto order = [](int status, int key) {
    std::ostringstream out;
    out << "send " << std::hex << status << ' ' << key << " 40";
    return out.str();
  };
  for (std::size_t i = 0; i < 20; ++i) {
    const int key = 60 + static_cast<int>(i % 3);
    ASSERT_TRUE(eventually([&] {
      return bool(daemon.request(protocol::Hear{.notes = std::vector<protocol::PitchNumber>{key}}));
    }));
    ASSERT_TRUE(eventually([&] { return ear.struck().size() == i + 1; }));
    ASSERT_EQ(stage.order(order(0x90, key)), "ok");
    // Legato, as hands play; and the last one goes up at the end.
    if (i > 0) {
      ASSERT_EQ(stage.order(order(0x80, 60 + static_cast<int>((i - 1) % 3))), "ok");
    }
  }
  ASSERT_EQ(stage.order(order(0x80, 61)), "ok");
  EXPECT_TRUE(eventually([&] {
    const auto status = daemon.request(protocol::GetStatus{});
    return status && status->take && status->take->notes == 20;
  }));
  // Two tones of every chord doubled while it sounds.
  for (std::size_t i = 0; i < 12; ++i) {
    const std::size_t before = ear.struck().size();
    ASSERT_TRUE(daemon.request(protocol::Hear{.notes = std::vector<protocol::PitchNumber>{41, 57, 60, 65}}));
    ASSERT_TRUE(eventually([&] { return ear.struck().size() == before + 4; }));
    for (const int status : {0x90, 0x80})
      for (const int key : {60, 65}) ASSERT_EQ(stage.order(order(status, key)), "ok");
  }
  EXPECT_TRUE(eventually([&] { return daemon.request(protocol::GetStatus{})->take->notes == 44; }))
      << daemon.request(protocol::GetStatus{})->take->notes;
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  const auto echoes = daemon.request(
      protocol::GetEvents{.take = 1, .limit = 2000, .kinds = std::vector{protocol::LineKind::kEcho}});
  ASSERT_TRUE(echoes);
  EXPECT_TRUE(echoes->lines.empty());
}

TEST_F(DaemonOverJack, OurOutputWiredToOurInputIsNotHeardAndItsEchoesStandMarkedInTheTake) {
  start();
  Connection daemon = connect();
  ASSERT_TRUE(until_connected(daemon, "Undersong in"));
  OutputEar ear("Undersong out");
  ASSERT_TRUE(ear.opened);
  ASSERT_TRUE(eventually([] { return wire("Undersong out", "Undersong in"); }));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({76}, true)}));
  std::size_t sounded = 0;
  for (const auto& chord :
       {std::vector<protocol::PitchNumber>{41, 57, 60, 65}, {38, 57, 62, 65}, {43}, {36, 55, 60, 64}}) {
    ASSERT_TRUE(eventually([&] { return bool(daemon.request(protocol::Hear{.notes = chord})); }));
    sounded += chord.size();
    ASSERT_TRUE(eventually([&] { return ear.struck().size() == sounded; }));
  }
  ASSERT_TRUE(daemon.request(protocol::Hear{.stop = true}));
  ASSERT_TRUE(eventually([&] { return ear.let_go() == sounded; }));
  std::optional<protocol::Read<protocol::TakeLines>> marked;
  EXPECT_TRUE(eventually([&] {
    marked = daemon.request(protocol::GetEvents{
        .take = std::nullopt, .from = 1, .limit = 2000, .kinds = std::vector{protocol::LineKind::kEcho}});
    return *marked && (*marked)->lines.size() == 2 * sounded;
  })) << "each of our notes and its end, as received";
  for (const auto& line : (*marked)->lines) {
    ASSERT_TRUE(line.echo);
    EXPECT_FALSE(line.midi);
    EXPECT_EQ(line.take, 1u);
  }
  const auto moment = daemon.request(protocol::GetMoment{});
  ASSERT_EQ(moment->held.size(), 1u) << "only the client's key";
  EXPECT_EQ(daemon.request(protocol::GetStatus{})->take->notes, 1u);
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({76}, false)}));
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  const auto notes = daemon.request(protocol::GetNotes{.take = 1});
  ASSERT_TRUE(notes) << notes.error().sentence;
  EXPECT_EQ(notes->pitch.size(), 1u) << "the page's notes are what was played";
}

// A killed daemon's clients stay with the JACK server for a while, which then takes seconds to answer the
// next program.
TEST_F(DaemonOverJack, KilledAndStartedAgainItAnswersWhileTheMidiServiceDoesNotYet) {
  for (int round = 0; round < 3; ++round) {
    start();
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67}, true)}));
    const auto status = daemon.request(protocol::GetStatus{});
    ASSERT_TRUE(status);
    ASSERT_EQ(status->outputs.size(), 1u);
    EXPECT_EQ(status->outputs[0].connected, status->outputs[0].trouble.empty()) << status->outputs[0].trouble;
    if (!status->outputs[0].connected) {
      const auto refused = daemon.request(protocol::Hear{.harte = "C:maj"});
      if (!refused) {
        EXPECT_NE(refused.error().sentence.find("The MIDI output is being opened."), std::string::npos)
            << refused.error().sentence;
      }
    }
    if (round == 0) {
      ASSERT_TRUE(until_connected(daemon, "Undersong in"));
    }
    ASSERT_TRUE(daemon.request(protocol::EndTake{}));
    daemon_->end(SIGKILL);
  }
  start();
  const auto takes = connect().request(protocol::ListTakes{});
  ASSERT_TRUE(takes);
  EXPECT_EQ(takes->takes.size(), 3u);
  daemon_->end(SIGKILL);  // it may be in the middle of a long wait for the server
}

TEST_F(DaemonOverJack, ATakeIsPlayedAgainOnARealOutputToItsLastNoteOffAndNeverHeardAsPlaying) {
  Player echoer("Echoer", true);
  configure("[hear]\noutput = \"Echoer in\"\nvelocity = 40\n");
  start();
  Connection daemon = connect();
  ASSERT_TRUE(until_connected(daemon, "Echoer:out"));
  OutputEar ear("Echoer:out");
  ASSERT_TRUE(ear.opened);
  // Keys that are pressed one after the other, a chord, all let go.
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67}, true)}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({64}, false)}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({65}, true)}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 65, 67}, false)}));
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  std::optional<protocol::Playing> playing;
  ASSERT_TRUE(eventually([&] {
    const auto begun = daemon.request(protocol::PlayTake{});
    if (begun) playing = *begun;
    return bool(begun);
  }));
  EXPECT_EQ(playing->take, 1u);
  ASSERT_TRUE(eventually([&] { return ear.let_go() == 4; }));
  EXPECT_EQ(ear.struck(), (std::vector<int>{48, 64, 67, 65}));
  EXPECT_LE(ear.loudest(), 40);
  ASSERT_TRUE(eventually([&] { return !daemon.request(protocol::GetStatus{})->playing; }));
  EXPECT_FALSE(daemon.request(protocol::GetStatus{})->take) << "what was played to us is no playing";
  const auto beyond = daemon.request(protocol::PlayTake{.from_us = 3'600'000'000});
  ASSERT_FALSE(beyond);
  EXPECT_NE(beyond.error().sentence.find("Take 1 lasts"), std::string::npos) << beyond.error().sentence;
  EXPECT_FALSE(daemon.request(protocol::PlayTake{.take = 77}));
}

TEST_F(DaemonOverJack, AMomentIsPlayedWithTheNoteThatWasHeldAlready) {
  Player echoer("Echoer", true);
  configure("[hear]\noutput = \"Echoer in\"\nvelocity = 40\n");
  {
    start({"--play", write_twelve_roots(folder_), "--speed", "1000"});
    Connection daemon = connect();
    ASSERT_TRUE(eventually([&] {
      const auto takes = daemon.request(protocol::ListTakes{});
      return takes && !takes->takes.empty() && takes->takes[0].ended;
    }));
  }
  daemon_->end(SIGTERM);
  start();
  Connection daemon = connect();
  ASSERT_TRUE(until_connected(daemon, "Echoer:out"));
  OutputEar ear("Echoer:out");
  ASSERT_TRUE(ear.opened);
  ASSERT_TRUE(eventually([&] {
    Process client({UNDERSONG_CLIENT, "moments", "--play", "2", "Db under G"}, true);
    for (std::string line = client.read_line(); !line.empty(); line = client.read_line())
      if (line == "Playing moment 2.") return true;
    return false;
  }));
  ASSERT_TRUE(eventually([&] { return ear.let_go() >= 5; }));
  const auto struck = ear.struck();
  EXPECT_EQ(std::count(struck.begin(), struck.end(), 79), 1)
      << "the held note sounds, although it was struck long before";
  EXPECT_EQ(std::set<int>(struck.begin(), struck.end()), (std::set<int>{37, 44, 53, 60, 79}));
}

TEST_F(DaemonOverJack, StoppedOrShutDownInTheMiddleEveryNoteIsReleased) {
  Player synth("Synth", true);
  configure("[hear]\noutput = \"Synth in\"\n");
  start();
  {
    Connection daemon = connect();
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67}, true)}));
    ASSERT_TRUE(eventually([&] { return bool(daemon.request(protocol::MarkTake{})); }));
    ASSERT_TRUE(daemon.request(protocol::EndTake{}));  // with keys down: they sound until the end of the take
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67}, false)}));
  }
  // A longer take, so that there is a middle: from a file.
  daemon_->end(SIGTERM);
  start({"--play", UNDERSONG_SOURCE_DIR "/configs/demo.mid", "--speed", "1000"});
  {
    Connection daemon = connect();
    ASSERT_TRUE(eventually([&] {
      const auto takes = daemon.request(protocol::ListTakes{});
      return takes && !takes->takes.empty() && takes->takes[0].take == 2 && takes->takes[0].ended;
    }));
  }
  daemon_->end(SIGTERM);
  start();
  Connection daemon = connect();
  OutputEar ear("Synth:out");
  ASSERT_TRUE(ear.opened);
  const auto sounding = [&] {
    return static_cast<int>(ear.struck().size()) - static_cast<int>(ear.let_go());
  };
  ASSERT_TRUE(eventually([&] { return bool(daemon.request(protocol::PlayTake{.take = 2})); }));
  ASSERT_TRUE(eventually([&] { return sounding() >= 3; }));
  EXPECT_TRUE(daemon.request(protocol::StopPlaying{})->was);
  ASSERT_TRUE(eventually([&] { return sounding() == 0; }));
  EXPECT_FALSE(daemon.request(protocol::StopPlaying{})->was);
  ASSERT_TRUE(eventually([&] { return bool(daemon.request(protocol::PlayTake{.take = 2})); }));
  ASSERT_TRUE(eventually([&] { return sounding() >= 3; }));
  daemon_->end(SIGTERM);
  EXPECT_TRUE(eventually([&] { return sounding() == 0; }));
}

TEST_F(DaemonOverJack, TheLoopOfATakeIsPlayedWhileTheNextIsKeptAgainstIt) {
  Player synth("Synth", true);
  configure("[hear]\noutput = \"Synth in\"\n");
  ASSERT_NO_FATAL_FAILURE(keep_a_loop());
  Connection daemon = connect();
  OutputEar ear("Synth:out");
  ASSERT_TRUE(ear.opened);
  std::optional<protocol::Playing> playing;
  ASSERT_TRUE(eventually([&] {
    const auto begun = daemon.request(protocol::PlayAlong{.take = 1, .tempo = 400, .count_in = 0});
    if (begun) playing = *begun;
    return bool(begun) || begun.error().sentence.find("no loop") != std::string::npos;
  }));
  ASSERT_TRUE(playing);
  ASSERT_TRUE(playing->along);
  EXPECT_EQ(playing->along->chords.size(), 4u);
  EXPECT_TRUE(daemon.request(protocol::GetStatus{})->playing);
  // The second round: somebody plays over it.
  const auto in_a_round = ear.struck().size();
  ASSERT_TRUE(eventually([&] { return ear.struck().size() > in_a_round + 24; }));
  EXPECT_FALSE(daemon.request(protocol::GetStatus{})->take) << "what is played to us is no playing";
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kLog}}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({76}, true)}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({76}, false)}));
  ASSERT_TRUE(
      until<protocol::Log>(daemon, [](const auto& line) { return line.kind == protocol::LineKind::kAlong; }));
  ASSERT_TRUE(
      until<protocol::Log>(daemon, [](const auto& line) { return line.kind == protocol::LineKind::kPass; }));
  ASSERT_TRUE(
      until<protocol::Log>(daemon, [](const auto& line) { return line.kind == protocol::LineKind::kPass; }));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({77}, true)}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({77}, false)}));
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  EXPECT_TRUE(daemon.request(protocol::StopPlaying{})->was);
  const auto passes = daemon.request(protocol::GetPasses{.take = 2});
  ASSERT_TRUE(passes) << passes.error().sentence;
  EXPECT_EQ(passes->along.take, 1u);
  ASSERT_EQ(passes->pitch.size(), 2u) << "the player's notes and none of the loop's";
  EXPECT_EQ(passes->pitch[0], 76);
  EXPECT_GE(passes->pass[0], 1u);
  EXPECT_GT(passes->pass[1], passes->pass[0]);
  for (std::size_t i = 0; i < 2; ++i) {
    EXPECT_GE(passes->chord[i], 0);
    EXPECT_LT(passes->place_us[i], passes->along.cycle_us + 1000);
  }
  EXPECT_FALSE(daemon.request(protocol::GetPasses{.take = 1}));
  EXPECT_FALSE(daemon.request(protocol::PlayAlong{.take = 2})) << "two notes are no loop";
  ASSERT_TRUE(eventually([&] { return ear.let_go() == ear.struck().size(); })) << "all is let go";
}

TEST_F(DaemonOverJack, AProposalSoundsInItsVeryNotesInOrderAndCanBePlayedOver) {
  Player synth("Synth", true);
  configure("[hear]\noutput = \"Synth in\"\n");
  ASSERT_NO_FATAL_FAILURE(keep_a_loop());
  Connection daemon = connect();
  OutputEar ear("Synth:out");
  ASSERT_TRUE(ear.opened);
  // A key that is named arrives, and nothing else; what is no chord or too much is refused in one sentence.
  ASSERT_TRUE(eventually([&] {
    return bool(daemon.request(
        protocol::Hear{.harte = "D:min9", .notes = std::vector<protocol::PitchNumber>{38, 53, 60, 64}}));
  }));
  ASSERT_TRUE(eventually([&] { return ear.struck().size() >= 4; }));
  EXPECT_EQ(ear.struck(), (std::vector<int>{38, 53, 60, 64}));
  ASSERT_TRUE(daemon.request(protocol::Hear{.stop = true}));
  ASSERT_TRUE(eventually([&] { return ear.let_go() == 4; }));
  for (const std::size_t many : {0u, 17u}) {
    const auto refused = daemon.request(
        protocol::Hear{.notes = std::vector<protocol::PitchNumber>(many, protocol::PitchNumber(60))});
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().sentence,
              "params.notes holds " + std::to_string(many) + " notes; give 1 to 16.");
  }
  const auto found = daemon.request(protocol::Reharmonise{.take = 1}, 60s);
  ASSERT_TRUE(found) << found.error().sentence;
  ASSERT_FALSE(found->proposals.empty());
  protocol::PlayAlong wish{.take = 1, .tempo = 400, .count_in = 0};
  wish.chords.emplace();
  std::vector<int> wanted;
  for (const auto& chord : found->proposals[0].chords) {
    protocol::GivenChord given{chord.harte, chord.left};
    given.notes->insert(given.notes->end(), chord.right.begin(), chord.right.end());
    std::vector<int> keys;
    for (const auto& note : *given.notes) keys.push_back(static_cast<int>(note.value));
    std::sort(keys.begin(), keys.end());
    wanted.insert(wanted.end(), keys.begin(), keys.end());
    wish.chords->push_back(given);
  }
  // Two rounds, and it is over by itself; the take that somebody plays meanwhile goes on, and nothing is kept
  // against it.
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({76}, true)}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({76}, false)}));
  ASSERT_TRUE(eventually([&] { return daemon.request(protocol::GetStatus{})->take.has_value(); }));
  wish.rounds = 2;
  wish.listen = true;
  const auto before = ear.struck().size();
  const auto playing = daemon.request(wish, 60s);
  ASSERT_TRUE(playing) << playing.error().sentence;
  ASSERT_TRUE(playing->along);
  EXPECT_TRUE(playing->along->given && playing->along->listen);
  EXPECT_EQ(playing->along->rounds, 2u);
  ASSERT_EQ(playing->along->chords.size(), wish.chords->size());
  for (std::size_t i = 0; i < wish.chords->size(); ++i)
    EXPECT_EQ(playing->along->chords[i].harte, (*wish.chords)[i].harte);
  ASSERT_TRUE(eventually([&] {
    return daemon.request(protocol::GetStatus{})->playing == std::nullopt &&
           ear.let_go() == ear.struck().size();
  }));
  std::vector<int> twice = wanted;
  twice.insert(twice.end(), wanted.begin(), wanted.end());
  const auto struck = ear.struck();
  EXPECT_EQ(std::vector<int>(struck.begin() + static_cast<std::ptrdiff_t>(before), struck.end()), twice);
  EXPECT_TRUE(daemon.request(protocol::GetStatus{})->take);
  // The same asked for by the terminal's client: once round.
  const auto so_far = ear.struck().size();
  const auto said = [](std::vector<std::string> words) {
    words.insert(words.begin(), {UNDERSONG_CLIENT, "take", "reharmonise", "1"});
    Process client(words, true);
    std::string all;
    int empty = 0;
    for (int i = 0; i < 400 && empty < 2; ++i) {
      const std::string line = client.read_line();
      empty = line.empty() ? empty + 1 : 0;
      all += line + "\n";
    }
    return all;
  };
  const auto played = said({"--hear", "1", "--tempo", "400"});
  EXPECT_NE(played.find("\nPlaying 1 at 400 beats a minute, once round; `undersong stop` ends it.\n"),
            std::string::npos)
      << played;
  ASSERT_TRUE(eventually(
      [&] { return ear.struck().size() >= so_far + wanted.size() && ear.let_go() == ear.struck().size(); }));
  const auto by_client = ear.struck();
  EXPECT_EQ(std::vector<int>(by_client.begin() + static_cast<std::ptrdiff_t>(so_far), by_client.end()),
            wanted);
  const auto refused = said({"--count", "2", "--along", "3"});
  EXPECT_NE(refused.find("undersong: There are 2 proposals; there is no proposal 3.\n"), std::string::npos)
      << refused;
  // To be played over: the take ends, and the next is kept against the chords that were given.
  wish.rounds.reset();
  wish.listen.reset();
  wish.layers = {protocol::Layer::kBass, protocol::Layer::kChords};
  ASSERT_TRUE(daemon.request(wish, 60s));
  EXPECT_FALSE(daemon.request(protocol::GetStatus{})->take);
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kLog}}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({79}, true)}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({79}, false)}));
  ASSERT_TRUE(
      until<protocol::Log>(daemon, [](const auto& line) { return line.kind == protocol::LineKind::kPass; }));
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  EXPECT_TRUE(daemon.request(protocol::StopPlaying{})->was);
  const auto passes = daemon.request(protocol::GetPasses{.take = 3});
  ASSERT_TRUE(passes) << passes.error().sentence;
  ASSERT_EQ(passes->along.chords.size(), wish.chords->size());
  EXPECT_EQ(passes->along.chords[0].harte, (*wish.chords)[0].harte);
  wish.chords->pop_back();
  const auto short_of_one = daemon.request(wish, 60s);
  ASSERT_FALSE(short_of_one);
  EXPECT_NE(short_of_one.error().sentence.find("3 chords are given, but the loop has 4."), std::string::npos)
      << short_of_one.error().sentence;
  (*wish.chords)[1].harte = "H:maj";
  const auto no_chord = daemon.request(wish, 60s);
  ASSERT_FALSE(no_chord);
  EXPECT_EQ(no_chord.error().sentence, "params.chords[1].harte: \"H:maj\" is no chord in Harte syntax.");
}

TEST_F(DaemonOverJack, AnotherMachinesClockGivesTheBeatAndIsNotKept) {
  start();
  Connection daemon = connect();
  Player clock("Clock");
  ASSERT_TRUE(until_connected(daemon, "Clock"));
  ASSERT_TRUE(
      daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment, protocol::Topic::kLog}}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({60}, true)}));
  clock.order("send FA");
  const auto end = std::chrono::steady_clock::now() + kPatience;
  std::optional<protocol::BeatNow> beat;
  while (!beat && std::chrono::steady_clock::now() < end) {
    clock.order("send F8");
    const auto note = daemon.next_notification(15ms);  // some 100 quarters a minute or more
    if (!note || !*note) continue;
    const auto moment = (*note)->as<protocol::Moment>();
    if (moment && *moment && (*moment)->beat && (*moment)->beat->source == protocol::BeatSource::kClock)
      beat = *(*moment)->beat;
  }
  ASSERT_TRUE(beat);
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  const auto lines = daemon.request(protocol::GetEvents{.take = 1, .limit = 2000});
  ASSERT_TRUE(lines);
  for (const auto& line : lines->lines)
    if (line.midi) {
      EXPECT_LT(line.midi->bytes[0].value, 0xF0) << "the clock floods no log";
    }
}

TEST_F(DaemonOverJack, AClockThatRanBeforeTheTakeGivesItsBarsFromTheFirstNoteOn) {
  start();
  Connection daemon = connect();
  Player clock("Clock");
  ASSERT_TRUE(until_connected(daemon, "Clock"));
  ASSERT_TRUE(
      daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment, protocol::Topic::kLog}}));
  // Clocks until a message comes that `is` wanted; some 100 quarters a minute or more.
  const auto run_until = [&](const auto& is) {
    const auto end = std::chrono::steady_clock::now() + kPatience;
    while (std::chrono::steady_clock::now() < end) {
      clock.order("send F8");
      const auto note = daemon.next_notification(15ms);
      if (note && *note && is(**note)) return true;
    }
    return false;
  };
  clock.order("send FA");
  ASSERT_TRUE(run_until([](const auto& note) {
    const auto moment = note.template as<protocol::Moment>();
    return moment && *moment && (*moment)->beat && (*moment)->beat->place == 3 &&
           (*moment)->beat->source == protocol::BeatSource::kClock;
  })) << "in the middle of a bar";
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({60, 64}, true)}));
  int bars = 0;
  ASSERT_TRUE(run_until([&](const auto& note) {
    const auto line = note.template as<protocol::Log>();
    return line && *line && (*line)->beat && ++bars == 3;
  }));
  ASSERT_TRUE(daemon.request(protocol::EndTake{}));
  const auto take = daemon.request(protocol::GetTake{.take = 1});
  ASSERT_TRUE(take);
  const auto lines = daemon.request(
      protocol::GetEvents{.take = 1, .limit = 2000, .kinds = std::vector{protocol::LineKind::kBeat}});
  ASSERT_TRUE(lines);
  ASSERT_GE(lines->lines.size(), 3u);
  const auto& first = lines->lines[0];
  ASSERT_TRUE(first.beat);
  EXPECT_EQ(first.beat->what, protocol::BeatWord::kClock);
  EXPECT_LE(first.at, take->summary.at) << "the beat in which the first note fell";
  EXPECT_LE(take->summary.at - first.at, *first.beat->interval_us * 5 / 4);
  for (std::size_t i = 1; i < 3; ++i) EXPECT_FALSE(lines->lines[i].beat->place) << "then the bar lines";
  const auto beats = daemon.request(protocol::GetBeats{.take = 1});
  ASSERT_TRUE(beats) << beats.error().sentence;
  ASSERT_GE(beats->at.size(), 5u);
  EXPECT_EQ(beats->at[0], first.at);
  const std::uint32_t place = first.beat->place ? static_cast<std::uint32_t>(first.beat->place->value) : 0;
  for (std::size_t i = 0; i < 5; ++i) EXPECT_EQ(beats->place[i], (place + i) % 4 + 1) << i;
}

TEST_F(DaemonTest, WithoutAPulseACorrectionIsRefusedInOneSentence) {
  start();
  Connection daemon = connect();
  const auto live = daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kTwice});
  ASSERT_FALSE(live);
  EXPECT_NE(live.error().sentence.find("no steady pulse"), std::string::npos) << live.error().sentence;
  EXPECT_FALSE(daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kMeter}));
  EXPECT_FALSE(daemon.request(protocol::TapBeat{})->beat) << "one tap is none";
}

TEST_F(DaemonTest, CorrectionsOfTheBeatAreKeptAndReBarAFinishedTake) {
  start({"--play", write_cycle({{41, 57, 60, 65}, {38, 57, 62, 65}, {43, 58, 62, 67}, {36, 55, 60, 64}}, 6),
         "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(eventually([&] {
    const auto takes = daemon.request(protocol::ListTakes{});
    return takes && !takes->takes.empty() && takes->takes[0].ended;
  }));
  const auto before = daemon.request(protocol::GetBeats{.take = 1});
  ASSERT_TRUE(before);
  ASSERT_GT(before->at.size(), 20u);
  const auto corrected = daemon.request(protocol::CorrectBeat{
      .what = protocol::BeatCorrection::kOne, .take = 1, .at = before->at[5], .meter = 3});
  ASSERT_TRUE(corrected) << corrected.error().sentence;
  EXPECT_TRUE(corrected->number);
  const auto after = daemon.request(protocol::GetBeats{.take = 1});
  ASSERT_TRUE(after);
  EXPECT_EQ(after->meter, 3);
  for (std::size_t i = 2; i < after->at.size(); ++i) EXPECT_EQ(after->place[i] == 1, i % 3 == 2) << i;
  ASSERT_TRUE(daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kUndo, .take = 1}));
  EXPECT_EQ(daemon.request(protocol::GetBeats{.take = 1})->place, before->place);
  EXPECT_FALSE(
      daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kOne, .take = 77, .at = 0}));
}

// A file whose lowest note, mapped to a tap, is struck four times evenly, and which then goes on as a
// performance does.
TEST_F(DaemonTest, CorrectionsOfTheTempoOverAndOverAreRefusedBeyondItsLimitsAndThePlayingGoesOn) {
  std::filesystem::create_directories(folder_ / ".config/undersong");
  std::ofstream(folder_ / ".config/undersong/undersong.toml")
      << "[[controls]]\nmessage = \"note 21\"\naction = \"tap\"\n";
  std::vector<midi::Event> events;
  for (int i = 0; i < 100; ++i) {
    const Micros at = Micros(600'000) * i;
    for (const int key : i < 4 ? std::vector<int>{21} : std::vector<int>{48, 64, 67}) {
      events.push_back(midi::note_on(at, 0, Pitch(key), Velocity(70)));
      events.push_back(midi::note_off(at + Micros(300'000), 0, Pitch(key)));
    }
  }
  std::stable_sort(events.begin(), events.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  const auto file = folder_ / "taps.mid";
  ASSERT_TRUE(midi::write_smf_file(midi::smf_from_events(events, "taps"), file));
  start({"--play", file.string(), "--speed", "1000"});
  Connection daemon = connect();
  ASSERT_TRUE(eventually([&] {
    const auto takes = daemon.request(protocol::ListTakes{});
    const auto moment = daemon.request(protocol::GetMoment{});
    return takes && !takes->takes.empty() && takes->takes[0].ended && moment && moment->beat;
  }));
  int done = 0;
  std::string said;
  const auto correct = [&](protocol::BeatCorrection what, int times) {
    done = 0;
    for (int i = 0; i < times; ++i) {
      const auto corrected = daemon.request(protocol::CorrectBeat{.what = what});
      if (corrected)
        ++done;
      else
        said = corrected.error().sentence;
    }
  };
  correct(protocol::BeatCorrection::kTwice, 20);
  EXPECT_EQ(done, 2) << "100, 200, 400";
  EXPECT_EQ(said, "Twice as fast would be more than 400 beats a minute; a tempo is 20 to 400.");
  correct(protocol::BeatCorrection::kUndo, 2);
  EXPECT_EQ(done, 2);
  correct(protocol::BeatCorrection::kHalf, 70);
  EXPECT_EQ(done, 2) << "100, 50, 25";
  EXPECT_EQ(said, "Half as fast would be fewer than 20 beats a minute; a tempo is 20 to 400.");
  for (const std::int64_t at : {INT64_MIN, INT64_MAX})
    for (const auto what : {protocol::BeatCorrection::kOne, protocol::BeatCorrection::kTwice,
                            protocol::BeatCorrection::kUndo, protocol::BeatCorrection::kMeter}) {
      const auto far = daemon.request(protocol::CorrectBeat{.what = what, .at = at, .meter = 3});
      ASSERT_FALSE(far);
      EXPECT_EQ(far.error().sentence.find("params.at is " + std::to_string(at) +
                                          ", but what is being played goes from "),
                0u)
          << far.error().sentence;
    }
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({60}, true)}));
  EXPECT_TRUE(eventually([&] { return daemon.request(protocol::ListTakes{})->takes.size() == 2; }))
      << "what is played is kept";
}

TEST_F(DaemonTest, ATakeThatWasCorrectedBeyondAllBoundsOpensAgainAndIsCorrectedNoFurther) {
  const auto file = folder_ / ".local/share/undersong/takes.sqlite";
  {
    auto store = takes::Store::open({.path = file}, {});
    ASSERT_TRUE(store) << store.error().message;
    (*store)->append(takes::take_begin(Micros(1'000'000), 1'790'000'000'000));
    const auto played = midi::read_smf_file(
        write_cycle({{41, 57, 60, 65}, {38, 57, 62, 65}, {43, 58, 62, 67}, {36, 55, 60, 64}}, 6));
    ASSERT_TRUE(played);
    for (midi::Event event : midi::merged_events(*played)) {
      event.at += Micros(1'000'000);
      (*store)->append(takes::midi_received(event));
    }
    for (int i = 0; i < 60; ++i)
      (*store)->append(
          takes::beat_said({Micros(i % 2 ? INT64_MIN : 2'000'000), takes::BeatWord::kTwice, {}, 0, 0}));
    (*store)->append(takes::beat_said({Micros::min(), takes::BeatWord::kOne, {}, 4, 0}));
    (*store)->append(takes::take_end(Micros(50'000'000), takes::EndReason::kRequest));
  }
  for (int round = 0; round < 2; ++round) {
    start();
    Connection daemon = connect();
    const auto beats = daemon.request(protocol::GetBeats{.take = 1});
    ASSERT_TRUE(beats) << beats.error().sentence;
    EXPECT_GT(beats->at.size(), 100u);
    EXPECT_LT(beats->at.size(), 400u);
    EXPECT_TRUE(daemon.request(protocol::GetLoop{.take = 1})) << "and its loop is told";
    const auto twice =
        daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kTwice, .take = 1});
    ASSERT_FALSE(twice);
    EXPECT_EQ(twice.error().sentence,
              "Twice as fast, take 1 would have 480 beats a minute; a tempo is 20 to 400.");
    for (const std::int64_t at : {INT64_MIN, std::int64_t{999'999}, std::int64_t{50'000'001}, INT64_MAX}) {
      const auto far =
          daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kOne, .take = 1, .at = at});
      ASSERT_FALSE(far);
      EXPECT_EQ(far.error().sentence,
                "params.at is " + std::to_string(at) +
                    ", outside take 1, which goes from 1000000 to 50000000, in microseconds.");
    }
    ASSERT_TRUE(daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kUndo, .take = 1}))
        << "the bar line";
    const auto half =
        daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kHalf, .take = 1});
    EXPECT_TRUE(half) << half.error().sentence;
    ASSERT_TRUE(daemon.request(protocol::CorrectBeat{.what = protocol::BeatCorrection::kUndo, .take = 1}));
    ASSERT_TRUE(daemon.request(
        protocol::CorrectBeat{.what = protocol::BeatCorrection::kOne, .take = 1, .at = 2'000'000}));
    daemon_->end(SIGKILL);
  }
}

// Notes so far apart that listening to them again takes more memory than there is.
TEST_F(DaemonTest, WithoutMemoryAQuestionIsAnsweredWithAnErrorAndAllElseGoesOn) {
  const auto file = folder_ / ".local/share/undersong/takes.sqlite";
  {
    auto store = takes::Store::open({.path = file}, {});
    ASSERT_TRUE(store) << store.error().message;
    (*store)->append(takes::take_begin(Micros(0), 1'790'000'000'000));
    for (int i = 0; i < 200; ++i) {
      (*store)->append(
          takes::midi_received(midi::note_on(Micros(9'000'000) * i, 0, Pitch(60), Velocity(70))));
      (*store)->append(
          takes::midi_received(midi::note_off(Micros(9'000'000) * i + Micros(500'000), 0, Pitch(60))));
    }
    (*store)->append(takes::take_end(Micros(9'000'000) * 200, takes::EndReason::kRequest));
  }
  start();
  Connection daemon = connect();
  ASSERT_TRUE(daemon.request(protocol::GetTake{.take = 1}));
  const auto bound = [&](rlim_t bytes) {
    const rlimit limit{bytes, RLIM_INFINITY};
    return ::prlimit(daemon_->id(), RLIMIT_AS, &limit, nullptr) == 0;
  };
  std::ifstream sizes("/proc/" + std::to_string(daemon_->id()) + "/statm");
  rlim_t pages = 0;
  ASSERT_TRUE(sizes >> pages);
  ASSERT_TRUE(bound(pages * static_cast<rlim_t>(::sysconf(_SC_PAGESIZE)) + (14u << 20)));
  for (int i = 0; i < 3; ++i) {
    const auto refused = daemon.request(protocol::GetBeats{.take = 1});
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().sentence,
              "There was not enough memory while take 1 was listened to again; everything else goes on.");
    EXPECT_FALSE(daemon.request(protocol::GetLoop{.take = 1}));
  }
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({60}, true)}));
  EXPECT_TRUE(eventually([&] { return daemon.request(protocol::ListTakes{})->takes.size() == 2; }))
      << "what is played is kept";
  ASSERT_TRUE(bound(RLIM_INFINITY));
  const auto again = daemon.request(protocol::GetBeats{.take = 1}, 60s);
  EXPECT_TRUE(again) << again.error().sentence;
}

TEST_F(DaemonTest, AWebPortThatAnotherProgramHasDoesNotKeepItFromStarting) {
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  ASSERT_EQ(::bind(fd, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  ASSERT_EQ(::listen(fd, 1), 0);
  socklen_t size = sizeof address;
  ASSERT_EQ(::getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size), 0);
  const std::string port = std::to_string(ntohs(address.sin_port));
  daemon_ = std::make_unique<Process>(std::vector<std::string>{UNDERSONGD, "--web-port", port}, true);
  Connection daemon = connect();
  const auto places = daemon.request(protocol::GetPlaces{});
  ASSERT_TRUE(places);
  EXPECT_FALSE(places->page);
  EXPECT_EQ(places->page_trouble, "The web port 127.0.0.1:" + port + " is taken by another program.");
  EXPECT_NE(daemon_->read_line().find("is taken by another program. Going on without the page."),
            std::string::npos);
  Process doctor({UNDERSONG_CLIENT, "doctor"}, true);
  bool told = false;
  for (std::string line; !(line = doctor.read_line()).empty();)
    told |= line.find("No companion page is served. The web port") != std::string::npos;
  EXPECT_TRUE(told);
  // A second daemon gives way as ever, whatever port it asks for.
  Process second({UNDERSONGD, "--web-port", "0"}, true);
  EXPECT_NE(second.read_line().find("Another undersongd is running"), std::string::npos);
  EXPECT_TRUE(daemon.request(protocol::GetStatus{}));
  ::close(fd);
}

TEST_F(DaemonOverJack, AMappedPedalMarksAndIsNotHeardAsMusic) {
  configure(
      "[[controls]]\nmessage = \"cc 67\"\naction = \"mark\"\n\n[[controls]]\nmessage = \"note 108\"\naction "
      "= \"end_take\"\n");
  start();
  Connection daemon = connect();
  ASSERT_TRUE(
      daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment, protocol::Topic::kLog}}));
  Player keys("Stage keys");
  ASSERT_TRUE(until_connected(daemon, "Stage keys"));
  ASSERT_TRUE(eventually([&] {
    strike(keys, {48, 64, 67});
    const auto note = daemon.next_notification(100ms);
    return note && *note && (*note)->method == "moment";
  }));
  keys.order("send B0 43 7F");
  keys.order("send B0 43 00");
  ASSERT_TRUE(
      until<protocol::Log>(daemon, [](const auto& line) { return line.kind == protocol::LineKind::kMark; }));
  strike(keys, {108});
  ASSERT_TRUE(until<protocol::Log>(
      daemon, [](const auto& line) { return line.kind == protocol::LineKind::kTakeEnd; }));
  const auto moment = daemon.request(protocol::GetMoment{});
  ASSERT_TRUE(moment);
  for (const auto& note : moment->held) EXPECT_NE(note.pitch, 108);
}

}  // namespace
}  // namespace undersong::app
