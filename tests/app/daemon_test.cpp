// What clients see while somebody plays.
#include <cmath>
#include <set>

#include "tests/app/running_daemon.h"

namespace undersong::app {
namespace {

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
  EXPECT_FALSE(daemon.request(protocol::MarkTake{}));  // there is no take now, so the mark is refused
}

TEST_F(DaemonTest, TheProcessIsCalledAsItsProgram) {
  start();
  auto daemon = connect();
  std::string name;
  std::getline(std::ifstream("/proc/" + std::to_string(daemon_->id()) + "/comm"), name);
  EXPECT_EQ(name, "undersongd");
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
  std::size_t shells = 0;  // voicings with at most three notes under the melody: root, third, seventh
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

// At a hundred times its speed, the time of the file runs ahead of the clock. A deadline 30 ms after a note
// must still be handled before the next note.
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

}  // namespace
}  // namespace undersong::app
