// Over 400 lines: all tests share one fixture, which owns the server and the instruments.
//
// MIDI from another process over a real JACK server, through RtMidi, to the consumer of the inputs. A note
// from a keyboard takes the same way, except for the cable. Without jackd, all tests are reported as skipped.
#include <fcntl.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <iostream>
#include <memory>
#include <mutex>

#include "daemon/listen/note_state.h"
#include "daemon/midi/audition.h"
#include "daemon/midi/inputs.h"
#include "daemon/midi/jack_ears.h"
#include "daemon/midi/output.h"
#include "daemon/midi/ports_source.h"
#include "tests/transport/jack_world.h"

namespace undersong::transport {
namespace {

using midi::Event;
using midi::Inputs;
using midi::Notice;
using midi::notice_of;

// The inputs and their consumer. It waits on the descriptor, but never longer than kPatience.
class Ear {
 public:
  explicit Ear(midi::PortsOptions options = {})
      : source_(prepared(std::move(options)), inputs_, [this](const std::string& s) {
          const std::lock_guard lock(mutex_);
          said_.push_back(s);
        }) {
    EXPECT_TRUE(source_.start());
  }

  // Drains the inputs until `condition` holds. False if it does not hold within kPatience.
  bool until(const std::function<bool()>& condition) {
    const auto end = std::chrono::steady_clock::now() + kPatience;
    for (;;) {
      inputs_.drain([&](const Event& e) {
        if (echo_of && notice_of(e) == Notice::kNone) {
          const auto verdict = echo_of->judge(e);
          echoes += verdict == midi::EchoGuard::Verdict::kEcho;
          if (verdict != midi::EchoGuard::Verdict::kPlayed) return;
        }
        notes.apply(e);
        (notice_of(e) == Notice::kNone ? events : notices).push_back(e);
      });
      if (condition()) return true;
      const auto left =
          std::chrono::duration_cast<std::chrono::milliseconds>(end - std::chrono::steady_clock::now());
      if (left.count() <= 0) return false;
      pollfd ready{inputs_.wake_fd(), POLLIN, 0};
      // The condition may become true without an event, so check it every 20 ms anyway.
      if (::poll(&ready, 1, 20) == 1) ++wakes;
    }
  }
  bool until_port(const std::string& part, bool connected = true) {
    return until([&] { return port(part, connected).has_value(); });
  }
  std::optional<midi::PortNumber> port(const std::string& part, bool connected = true) {
    for (const auto& p : inputs_.ports()) {
      if (p.name.find(part) != std::string::npos && p.connected == connected) return p.number;
    }
    return std::nullopt;
  }
  // Waits until the input exists and a message from `player` has arrived, because JACK uses a new connection
  // only from its next period on. Then forgets the events so far.
  bool until_heard(Player& player, const std::string& part) {
    if (!until_port(part)) return false;
    const bool heard = eventually([&] {
      player.order("send C0 7E");
      until([&, soon = std::chrono::steady_clock::now() + std::chrono::milliseconds(20)] {
        return !events.empty() || std::chrono::steady_clock::now() > soon;
      });
      return !events.empty();
    });
    if (!heard) tell();
    const bool quiet = heard && fence(player);
    events.clear();
    return quiet;
  }
  // Sends a program change that no test uses. When it has arrived, everything that `player` sent before it
  // has arrived too.
  bool fence(Player& player) {
    const std::size_t before = events.size();
    if (player.order("send C0 7F") != "ok") return false;
    const bool came = until([&] {
      return std::any_of(events.begin() + static_cast<std::ptrdiff_t>(before), events.end(), is_fence);
    });
    std::erase_if(events, is_fence);
    return came;
  }
  // Prints what helps to understand an unexpected failure.
  void tell() {
    const std::lock_guard lock(mutex_);
    for (const std::string& sentence : said_) std::cerr << "  said: " << sentence << "\n";
    for (const auto& p : inputs_.ports()) {
      std::cerr << "  input " << int(p.number) << " \"" << p.name << "\"" << (p.connected ? "" : " (gone)")
                << "\n";
    }
  }
  bool was_said(const std::string& part) {
    const std::lock_guard lock(mutex_);
    return std::any_of(said_.begin(), said_.end(),
                       [&](const std::string& s) { return s.find(part) != std::string::npos; });
  }
  Inputs& inputs() { return inputs_; }
  midi::PortsSource& source() { return source_; }

  std::vector<Event> events, notices;
  listen::NoteState notes;
  midi::Output* echo_of = nullptr;
  int echoes = 0, wakes = 0;

 private:
  static bool is_fence(const Event& e) { return e.bytes[0] == 0xC0 && e.bytes[1] == 0x7F; }
  static midi::PortsOptions prepared(midi::PortsOptions options) {
    options.backend = midi::BackendKind::kJack;
    return options;
  }
  std::mutex mutex_;
  std::vector<std::string> said_;
  Inputs inputs_;
  midi::PortsSource source_;
};

class Transport : public testing::Test {
 protected:
  void SetUp() override {
    if (!have_jackd()) GTEST_SKIP() << "jackd is not installed, so no MIDI can be carried";
  }
  void start_server() { ASSERT_TRUE(server.start()) << "the JACK server did not start"; }
  static midi::PortsOptions slow_looks() {
    midi::PortsOptions options;
    options.look_every = std::chrono::minutes(10);  // so that only notifications from JACK count
    return options;
  }
  static midi::PortsOptions quick_looks() {
    midi::PortsOptions options;
    options.look_every = std::chrono::milliseconds(20);
    return options;
  }
  JackServer server;
};

TEST_F(Transport, HearsAnotherProcessNoteForNote) {
  start_server();
  Ear ear;
  Player keys("Keys");
  ASSERT_TRUE(keys.ready());
  ASSERT_TRUE(ear.until_heard(keys, "Keys:out"));
  ASSERT_EQ(keys.order("send 90 3C 40"), "ok");
  ASSERT_EQ(keys.order("send B0 40 7F"), "ok");
  ASSERT_EQ(keys.order("send 80 3C 40"), "ok");
  ASSERT_EQ(keys.order("send C0 05"), "ok");
  ASSERT_TRUE(ear.until([&] { return ear.events.size() >= 4; }));
  const auto is = [&](std::size_t i, std::array<std::uint8_t, 3> bytes, int size) {
    return ear.events[i].bytes == bytes && ear.events[i].size == size &&
           ear.events[i].port == *ear.port("Keys");
  };
  EXPECT_TRUE(is(0, {0x90, 0x3C, 0x40}, 3));
  EXPECT_TRUE(is(1, {0xB0, 0x40, 0x7F}, 3));
  EXPECT_TRUE(is(2, {0x80, 0x3C, 0x40}, 3));
  EXPECT_TRUE(is(3, {0xC0, 0x05, 0}, 2));
  EXPECT_TRUE(ear.notes.is_sounding(Pitch(60)) && !ear.notes.is_down(Pitch(60)));
  EXPECT_LE(ear.events.back().at, midi::steady_now());
}

TEST_F(Transport, AKeyboardThatGoesWithKeysDownIsReleasedAndHeardAgainWhenItIsBack) {
  start_server();
  Ear ear(quick_looks());
  auto keys = std::make_unique<Player>("Keys");
  ASSERT_TRUE(ear.until_heard(*keys, "Keys"));
  const auto number = ear.port("Keys");
  keys->order("send B0 40 7F"), keys->order("send 90 3C 40"), keys->order("send 90 40 40");
  ASSERT_TRUE(ear.until([&] { return ear.notes.is_down(Pitch(60)) && ear.notes.is_down(Pitch(64)); }));
  keys->be_killed();
  ASSERT_TRUE(ear.until([&] { return ear.notes.silent(); })) << "the notes of an unplugged keyboard must end";
  EXPECT_FALSE(ear.notes.damper_down());
  ASSERT_TRUE(ear.until_port("Keys", false));
  keys = std::make_unique<Player>("Keys");
  ASSERT_TRUE(keys->ready());
  ASSERT_TRUE(ear.until_heard(*keys, "Keys"));
  EXPECT_EQ(ear.port("Keys"), number) << "the same keyboard keeps its number";
  keys->order("send 90 43 40");
  EXPECT_TRUE(ear.until([&] { return ear.notes.is_down(Pitch(67)); }));
}

TEST_F(Transport, AKeyboardThatSomebodyAlsoConnectsByHandIsHeardOnce) {
  start_server();
  Ear ear(slow_looks());
  Player keys("Keys");
  ASSERT_TRUE(ear.until_heard(keys, "Keys"));
  ASSERT_TRUE(eventually([] { return wire("Keys", "Undersong in"); }));
  ASSERT_TRUE(ear.until_port("Keys", false)) << "it is heard at our own input instead";
  ASSERT_TRUE(until_connections_carry());
  ASSERT_TRUE(ear.fence(keys));
  ear.events.clear();
  for (const char* key : {"3C", "40", "43"})
    ASSERT_EQ(keys.order(std::string("send 90 ") + key + " 40"), "ok");
  ASSERT_TRUE(ear.fence(keys));
  EXPECT_EQ(ear.events.size(), 3u) << "three keys are three notes";
  ASSERT_TRUE(eventually([] { return unwire("Keys", "Undersong in"); }));
  ASSERT_TRUE(ear.until_heard(keys, "Keys")) << "when the cable is taken out, it is heard as before";
}

TEST_F(Transport, AKeyboardPluggedInAgainFasterThanAnyLookIsStillHeard) {
  start_server();
  Ear ear(slow_looks());
  for (int round = 0; round < 5; ++round) {
    Player keys("Keys");
    ASSERT_TRUE(ear.until_heard(keys, "Keys")) << round;
    keys.order("send 90 3C 40");
    ASSERT_TRUE(ear.until([&] { return ear.notes.is_down(Pitch(60)); })) << round;
    keys.leave();
    ASSERT_TRUE(ear.until([&] { return ear.notes.silent(); })) << round;
  }
}

TEST_F(Transport, OthersCanConnectToOurOwnInput) {
  start_server();
  Ear ear;
  ASSERT_TRUE(ear.until_port("Undersong in"));
  Player keys("Keys");
  ASSERT_EQ(keys.order("connect Undersong in"), "ok");
  ASSERT_TRUE(ear.until_heard(keys, "Undersong in"));
  keys.order("send 90 3C 40");
  ASSERT_TRUE(ear.until([&] { return !ear.events.empty(); }));
  EXPECT_EQ(ear.events[0].port, ear.port("Undersong in"));
}

TEST_F(Transport, FourKeyboardsAtOnceLoseNothingAndMixNothing) {
  start_server();
  Ear ear;
  std::vector<std::unique_ptr<Player>> players;
  for (const char* name : {"One", "Two", "Three", "Four"}) players.push_back(std::make_unique<Player>(name));
  for (std::size_t i = 0; const char* name : {"One:out", "Two:out", "Three:out", "Four:out"}) {
    ASSERT_TRUE(ear.until_heard(*players[i++], name));
  }
  constexpr std::size_t kEach = 2000;
  std::vector<std::thread> orders;
  for (auto& player : players) orders.emplace_back([&] { player->order("run " + std::to_string(kEach)); });
  const bool all = ear.until([&] { return ear.events.size() >= 4 * kEach; });
  for (auto& order : orders) order.join();
  ASSERT_TRUE(all) << ear.events.size();
  std::array<std::size_t, Inputs::kMostInputs> next{};
  Micros last{0};
  for (const Event& e : ear.events) {
    const std::size_t i = next[e.port]++;
    ASSERT_EQ(e.bytes[1], i & 0x7F);
    ASSERT_EQ(e.bytes[2], 1 + ((i >> 7) & 0x3F));
    ASSERT_GE(e.at, last);
    last = e.at;
  }
  EXPECT_EQ(ear.inputs().dropped(), 0u);
}

TEST_F(Transport, OnlyInputsWithAWantedNameAreOpened) {
  start_server();
  auto options = quick_looks();
  options.names = {"stage"};
  Ear ear(options);
  Player pads("Pads"), piano("Stage Piano");
  ASSERT_TRUE(ear.until_heard(piano, "Stage Piano"));
  EXPECT_EQ(ear.port("Pads"), std::nullopt);
  pads.order("send 90 30 40");
  ASSERT_TRUE(ear.fence(piano));
  EXPECT_TRUE(ear.events.empty());
}

TEST_F(Transport, WhatSaysNothingOfMusicDoesNotWakeTheConsumer) {
  start_server();
  Ear ear;
  Player keys("Keys");
  ASSERT_TRUE(ear.until_heard(keys, "Keys"));
  ASSERT_TRUE(ear.fence(keys));
  ear.wakes = 0;
  for (int i = 0; i < 50; ++i) {
    keys.order("send FE"), keys.order("send F8"), keys.order("send F0 7E 7F 06 01 F7");
  }
  ASSERT_TRUE(ear.fence(keys));
  EXPECT_EQ(ear.wakes, 1) << "only the fence";
  EXPECT_TRUE(ear.events.empty());
}

TEST_F(Transport, ClockPassesWhenAskedFor) {
  start_server();
  midi::PortsOptions options;
  options.pass_clock = true;
  Ear ear(options);
  Player keys("Keys");
  ASSERT_TRUE(ear.until_heard(keys, "Keys"));
  keys.order("send FE"), keys.order("send FA"), keys.order("send F8"), keys.order("send F2 01 02");
  ASSERT_TRUE(ear.fence(keys));
  ASSERT_EQ(ear.events.size(), 3u);
  EXPECT_EQ(ear.events[0].bytes[0], 0xFA);
  EXPECT_EQ(ear.events[1].bytes[0], 0xF8);
  EXPECT_EQ(ear.events[2].bytes, (std::array<std::uint8_t, 3>{0xF2, 1, 2}));
}

TEST_F(Transport, OurOwnOutputIsNeverOpenedAsAnInput) {
  start_server();
  midi::Output output({midi::BackendKind::kJack, "", "Undersong", "Undersong out"}, {});
  ASSERT_TRUE(output.tend());
  Ear ear(quick_looks());
  Player keys("Keys");
  ASSERT_TRUE(ear.until_heard(keys, "Keys"));
  EXPECT_TRUE(output.note_on(0, Pitch(60), Velocity(50)));
  ASSERT_TRUE(ear.fence(keys));
  EXPECT_TRUE(ear.events.empty());
  for (const auto& port : ear.inputs().ports())
    EXPECT_TRUE(port.name == "Undersong in" || port.name == "Keys:out") << port.name;
}

// Options of another program that listens to "Undersong out".
midi::PortsOptions somebody_else() {
  midi::PortsOptions options;
  options.client_name = "Somebody";
  options.virtual_port = "";
  options.look_every = std::chrono::milliseconds(20);
  return options;
}

TEST_F(Transport, AnAuditionIsHeardByOthersAndEveryNoteEndsEvenWhenWeStopInTheMiddle) {
  start_server();
  Ear somebody(somebody_else());
  auto output = std::make_unique<midi::Output>(
      midi::OutputOptions{midi::BackendKind::kJack, "", "Undersong", "Undersong out"}, midi::Say{});
  ASSERT_TRUE(output->tend());
  ASSERT_TRUE(somebody.until_port("Undersong out"));
  ASSERT_TRUE(eventually([&] {
    output->note_on(0, Pitch(0), Velocity(1)), output->note_off(0, Pitch(0));
    somebody.until([&, soon = std::chrono::steady_clock::now() + std::chrono::milliseconds(20)] {
      return !somebody.events.empty() || std::chrono::steady_clock::now() > soon;
    });
    return !somebody.events.empty() && somebody.notes.silent();
  }));
  midi::Audition audition;
  const std::vector<Pitch> chord{Pitch(48), Pitch(60), Pitch(64), Pitch(67)};
  audition.play(chord, {}, midi::steady_now(), [&](const Event& e) { EXPECT_TRUE(output->send(e)); });
  ASSERT_TRUE(somebody.until([&] { return somebody.notes.down().count() == 4; }));
  output.reset();  // while all four keys are down
  EXPECT_TRUE(somebody.until([&] { return somebody.notes.silent(); }));
  const auto ended = std::count_if(somebody.events.begin(), somebody.events.end(), [&](const Event& e) {
    return e.kind() == midi::kNoteOff &&
           std::find(chord.begin(), chord.end(), Pitch(e.bytes[1])) != chord.end();
  });
  EXPECT_EQ(ended, 4) << "by note-offs, not by the port's going";
}

TEST_F(Transport, WhatWeSendIsNotHeardBackThroughAnInstrumentThatEchoesIt) {
  start_server();
  Player echoer("Echoer", true);
  midi::Output output({midi::BackendKind::kJack, "Echoer in", "Undersong", "Undersong out"}, {});
  ASSERT_TRUE(eventually([&] { return bool(output.tend()); }));
  Ear ear(quick_looks());
  ear.echo_of = &output;
  ASSERT_TRUE(ear.until_heard(echoer, "Echoer:out"));
  for (int key : {60, 64, 67}) ASSERT_TRUE(output.note_on(0, Pitch(key), Velocity(50)));
  ASSERT_TRUE(ear.until([&] { return ear.echoes == 3; }))
      << "the echo must really come, or nothing is proved";
  EXPECT_TRUE(ear.notes.silent());
  // The player presses the same key on the echoing instrument while our note sounds.
  ASSERT_TRUE(eventually(
      [&, sent = midi::steady_now()] { return midi::steady_now() - sent > midi::EchoGuard::kWindow; }));
  echoer.order("send 90 3C 40");
  ASSERT_TRUE(ear.until([&] { return ear.notes.is_down(Pitch(60)); }));
  output.all_notes_off();
  ASSERT_TRUE(ear.until([&] { return ear.echoes == 6; }));
  EXPECT_TRUE(ear.notes.is_down(Pitch(60))) << "our note-off doesn't release the player's key";
}

TEST_F(Transport, AServerThatIsKilledAndStartedAgainIsFoundAgain) {
  for (const int signal : {SIGKILL, SIGTERM}) {
    start_server();
    Ear ear(quick_looks());
    midi::Output output({midi::BackendKind::kJack, "", "Undersong", "Undersong out"}, {});
    ASSERT_TRUE(output.tend());
    {
      Player keys("Keys");
      ASSERT_TRUE(ear.until_heard(keys, "Keys"));
      keys.order("send 90 3C 40");
      ASSERT_TRUE(ear.until([&] { return ear.notes.is_down(Pitch(60)); }));
      server.end(signal);
      ASSERT_TRUE(ear.until([&] { return ear.notes.silent(); })) << "signal " << signal;
      EXPECT_TRUE(ear.was_said("The JACK server has gone"));
    }
    ASSERT_TRUE(eventually([&] { return !output.connected(); }));
    EXPECT_FALSE(output.note_on(0, Pitch(60), Velocity(50))) << "says so rather than sends into nothing";
    EXPECT_FALSE(output.tend());
    start_server();
    Player keys("Keys");
    ASSERT_TRUE(ear.until_heard(keys, "Keys"));
    keys.order("send 90 40 40");
    EXPECT_TRUE(ear.until([&] { return ear.notes.is_down(Pitch(64)); }));
    EXPECT_TRUE(eventually([&] { return bool(output.tend()); }));
    EXPECT_TRUE(output.note_on(0, Pitch(60), Velocity(50)));
    ear.source().stop();
    server.end(SIGTERM);
  }
}

// libjack deletes all clients of a dead server when the process opens another one, and RtMidi opens one for
// each of its objects. The service has an owner already, and dies before the next client is opened.
TEST_F(Transport, AServerThatDiesWhileItsClientsAreOpenedTakesNoOtherClientWithIt) {
  start_server();
  auto backend = midi::Backend::open(midi::BackendKind::kJack, "Undersong", {});
  ASSERT_TRUE(backend);
  const auto ears = midi::jack_ears(**backend, "Undersong", false);
  ASSERT_TRUE(ears);
  server.end(SIGKILL);
  ASSERT_TRUE(eventually([&] { return !(*backend)->alive(); }));
  Inputs inputs;
  midi::Lane* lane = inputs.lane("Keys");
  EXPECT_NE((*ears)->open("Keys:out", *lane), midi::Ears::Opened::kYes);
  EXPECT_FALSE((*ears)->make_own("Undersong", *lane));
  EXPECT_FALSE(midi::jack_ears(**backend, "Undersong", false));
  midi::Output output({midi::BackendKind::kJack, "", "Undersong", "Undersong out"}, {});
  EXPECT_FALSE(output.tend());
}  // all of them are closed here, after the death of their server

// The server dies so late that nobody here was told before the next client is opened.
TEST_F(Transport, ClientsThatJacksLibraryDeletedAreNeverTouched) {
  start_server();
  auto backend = midi::Backend::open(midi::BackendKind::kJack, "Undersong", {});
  ASSERT_TRUE(backend);
  auto ears = midi::jack_ears(**backend, "Undersong", false);
  ASSERT_TRUE(ears);
  midi::Output output({midi::BackendKind::kJack, "", "Undersong", "Undersong out"}, {});
  ASSERT_TRUE(output.tend());
  const auto sweeps = midi::JackTurn::sweeps();
  server.end(SIGKILL);
  ASSERT_TRUE(eventually([&] { return !(*backend)->alive(); }));
  {
    const auto turn = midi::JackTurn::take();
    ASSERT_TRUE(turn);
    EXPECT_EQ(jack_client_open("somebody", JackNoStartServer, nullptr), nullptr);
  }
  EXPECT_EQ(midi::JackTurn::sweeps(), sweeps + 1) << "JACK's library says when it deletes clients";
  EXPECT_TRUE((*ears)->listed().empty());
  EXPECT_FALSE((*backend)->is_connected("Keys:out", ":in"));
  EXPECT_FALSE(output.connected());
  EXPECT_FALSE(output.tend());
  ears->reset();
  backend->reset();
  start_server();
  EXPECT_TRUE(output.tend()) << "once all of them are let go, the next server is used";
}

TEST_F(Transport, StartedBeforeTheServerItSaysSoAndFindsItLater) {
  Ear ear(quick_looks());
  ASSERT_TRUE(ear.until([&] { return ear.was_said("No JACK server answers."); }));
  start_server();
  Player keys("Keys");
  ASSERT_TRUE(ear.until_heard(keys, "Keys"));
  keys.order("send 90 3C 40");
  EXPECT_TRUE(ear.until([&] { return ear.notes.is_down(Pitch(60)); }));
}

TEST_F(Transport, AServerThatComesIsFoundByItsFilesWithoutLooking) {
  Ear ear(slow_looks());
  ASSERT_TRUE(ear.until([&] { return ear.was_said("No JACK server answers."); }));
  start_server();
  Player keys("Keys");
  EXPECT_TRUE(ear.until_heard(keys, "Keys"));
}

TEST_F(Transport, NothingWakesTheConsumerWhileNothingChanges) {
  start_server();
  auto options = quick_looks();
  options.look_every = std::chrono::milliseconds(1);
  Ear ear(options);
  Player keys("Keys");
  ASSERT_TRUE(ear.until_heard(keys, "Keys"));
  ASSERT_TRUE(ear.fence(keys));
  pollfd ready{ear.inputs().wake_fd(), POLLIN, 0};
  EXPECT_EQ(::poll(&ready, 1, 500), 0) << "hundreds of looks, not one wake";
}

}  // namespace
}  // namespace undersong::transport
