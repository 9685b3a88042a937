// Input over a real JACK server: keyboards, echoes of our own output, another machine's clock, pedals.
#include <set>

#include "daemon/takes/corrected_beats.h"
#include "tests/app/daemon_over_jack.h"

namespace undersong::app {
namespace {

TEST_F(DaemonOverJack, AKeyboardIsHeardAndUnpluggedWithKeysDownItsNotesEnd) {
  start();
  Connection daemon = connect();
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment}}));
  Player keys("Stage keys");
  ASSERT_TRUE(until_connected(daemon, "Stage keys"));
  // The daemon knows a port before it is connected, so the first notes may be lost.
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
  // The instrument that plays the suggestion sends everything back.
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
  // Until the output is found, the request is refused with a sentence. The test asks again.
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
    // Legato, as a person plays. The last note ends after the loop.
    if (i > 0) {
      ASSERT_EQ(stage.order(order(0x80, 60 + static_cast<int>((i - 1) % 3))), "ok");
    }
  }
  ASSERT_EQ(stage.order(order(0x80, 61)), "ok");
  EXPECT_TRUE(eventually([&] {
    const auto status = daemon.request(protocol::GetStatus{});
    return status && status->take && status->take->notes == 20;
  }));
  // The player doubles two notes of every chord while it sounds.
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

TEST_F(DaemonOverJack, WhetherAnybodyHearsSuggestionsIsTold) {
  start();
  Connection daemon = connect();
  const auto listeners = [&](unsigned wanted) {
    return eventually([&] {
      const auto status = daemon.request(protocol::GetStatus{});
      return status && status->outputs.at(0).connected && status->outputs[0].listeners == wanted;
    });
  };
  ASSERT_TRUE(listeners(0));
  const protocol::Hear chord{.notes = std::vector<protocol::PitchNumber>{48, 64, 67}};
  EXPECT_EQ(daemon.request(chord)->unheard, true);
  Process hear({UNDERSONG_CLIENT, "hear", "--chord", "C:maj"}, true);
  hear.read_line();
  EXPECT_EQ(hear.read_line().find("Nothing is connected to \"Undersong out\", so nobody hears it."), 0u);
  OutputEar ear("Undersong out");
  ASSERT_TRUE(ear.opened);
  ASSERT_TRUE(listeners(1)) << "soon after the cable is put in";
  EXPECT_FALSE(daemon.request(chord)->unheard);
}

TEST_F(DaemonOverJack, AnInputTellsWhenAKeyWasHeardOnIt) {
  start();
  Connection daemon = connect();
  Player stage("Stage keys");
  ASSERT_TRUE(until_connected(daemon, "Stage keys"));
  const auto last = [&] {
    std::optional<protocol::TimeUs> out;
    const auto status = daemon.request(protocol::GetStatus{});
    for (const auto& port : status->ports)
      if (port.name.find("Stage keys") != std::string::npos) out = port.last_note;
    return out;
  };
  EXPECT_FALSE(last());
  ASSERT_TRUE(eventually([&] { return stage.order("send 90 3C 40") == "ok" && last(); }));
  const auto first = last();
  ASSERT_TRUE(eventually([&] { return stage.order("send 90 3C 40") == "ok" && last() > first; }));
}

TEST_F(DaemonOverJack, OurOutputWiredToOurInputIsNotHeardAndItsEchoesStandMarkedInTheTake) {
  start();
  Connection daemon = connect();
  ASSERT_TRUE(until_connected(daemon, "Undersong in"));
  OutputEar ear("Undersong out");
  ASSERT_TRUE(ear.opened);
  ASSERT_TRUE(eventually([] { return wire("Undersong out", "Undersong in"); }));
  ASSERT_TRUE(transport::until_connections_carry());
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

// The JACK server keeps the clients of a killed daemon for a while, and then takes seconds to answer the next
// program.
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
  daemon_->end(SIGKILL);  // it may be waiting for the JACK server for a long time
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
    const auto note = daemon.next_notification(15ms);  // about 100 quarter notes a minute or more
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
  // Sends clocks, for about 100 quarter notes a minute or more, until a message comes for which `is` holds.
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

}  // namespace
}  // namespace undersong::app
