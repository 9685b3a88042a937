// Output to a real JACK server: takes, moments, and loops to play along with.
#include <set>

#include "daemon/takes/corrected_beats.h"
#include "tests/app/daemon_over_jack.h"

namespace undersong::app {
namespace {

TEST_F(DaemonOverJack, ATakeIsPlayedAgainOnARealOutputToItsLastNoteOffAndNeverHeardAsPlaying) {
  Player echoer("Echoer", true);
  configure("[hear]\noutput = \"Echoer in\"\nvelocity = 40\n");
  start();
  Connection daemon = connect();
  ASSERT_TRUE(until_connected(daemon, "Echoer:out"));
  OutputEar ear("Echoer:out");
  ASSERT_TRUE(ear.opened);
  // A chord, then one of its notes changes, then all keys are released.
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

TEST_F(DaemonOverJack, TheBassOfTheChordIsHeldOnAPortOfItsOwnAndNeverHeardAsPlaying) {
  configure("[chords]\ncarry = \"bass\"\nchannel = 5\nvelocity = 30\n");
  start();
  Connection daemon = connect();
  OutputEar ear("Undersong chords");
  ASSERT_TRUE(ear.opened);
  ASSERT_TRUE(daemon.request(protocol::Subscribe{.topics = {protocol::Topic::kMoment}}));
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({43, 58, 62, 67}, true)}));
  ASSERT_TRUE(until<protocol::Moment>(daemon, [](const auto& m) { return m.chord && m.chord->sounding; }));
  ASSERT_TRUE(eventually([&] { return !ear.struck().empty() && ear.struck().back() == 43; })) << "G minor";
  EXPECT_LE(ear.loudest(), 30);
  EXPECT_EQ(ear.channels(), (std::set<int>{4}));
  EXPECT_EQ(daemon.request(protocol::GetMoment{})->held.size(), 4u) << "it is no keyboard of ours";
  ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({43, 58, 62, 67}, false)}));
  EXPECT_TRUE(eventually([&] { return ear.let_go() == ear.struck().size(); }));
}

TEST_F(DaemonOverJack, AMomentIsPlayedWithTheNoteThatWasHeldAlready) {
  Player echoer("Echoer", true);
  configure("[hear]\noutput = \"Echoer in\"\nvelocity = 40\n");
  {
    start({"--play", write_twelve_roots(folder_), "--speed", "1000"});
    Connection daemon = connect();
    ASSERT_TRUE(until_kept(daemon));
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
    ASSERT_TRUE(daemon.request(protocol::EndTake{}));  // the keys are still down and sound to the end
    ASSERT_TRUE(daemon.request(protocol::SendNotes{keys({48, 64, 67}, false)}));
  }
  // A longer take, made from a file, so that playing can begin in the middle.
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

TEST_F(DaemonOverJack, ASongIsPlayedAsSoftlyAsAskedAndLetsEveryKeyGoWhenItIsStopped) {
  Player synth("Synth", true);
  configure("[hear]\noutput = \"Synth in\"\n");
  ASSERT_NO_FATAL_FAILURE(keep_a_loop());
  Connection daemon = connect();
  OutputEar ear("Synth:out");
  ASSERT_TRUE(ear.opened);
  const auto sketch = daemon.request(protocol::ProposeSketch{.takes = {1}, .title = "Rounds"});
  ASSERT_TRUE(sketch) << sketch.error().sentence;
  std::optional<protocol::Playing> playing;
  ASSERT_TRUE(eventually([&] {
    const auto begun = daemon.request(protocol::PlaySketch{.sketch = *sketch, .velocity = 25});
    if (begun) playing = *begun;
    return bool(begun);
  }));
  ASSERT_TRUE(playing->song);
  EXPECT_EQ(playing->song->title, "Rounds");
  EXPECT_TRUE(daemon.request(protocol::GetStatus{})->playing->song);
  ASSERT_TRUE(eventually([&] { return ear.struck().size() > 12; }));
  EXPECT_LE(ear.loudest(), 50) << "25 on average";
  EXPECT_EQ(ear.channels(), (std::set<int>{0}));
  EXPECT_FALSE(daemon.request(protocol::GetStatus{})->take) << "what is played to us is no playing";
  EXPECT_TRUE(daemon.request(protocol::StopPlaying{})->was);
  EXPECT_TRUE(eventually([&] { return ear.let_go() == ear.struck().size(); })) << "all is let go";
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
  // In the second round, somebody plays over the loop.
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
  // Exactly the requested notes arrive. An invalid chord, or too many notes, is refused in one sentence.
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
  // After two rounds it ends by itself. The take that somebody plays meanwhile goes on, and its log gets no
  // lines about passes of the loop.
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
  // The same from the terminal client: one round.
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
  EXPECT_NE(played.find("\nPlaying 1 at 400 beats a minute, once. `undersong stop` ends it.\n"),
            std::string::npos)
      << played;
  ASSERT_TRUE(eventually(
      [&] { return ear.struck().size() >= so_far + wanted.size() && ear.let_go() == ear.struck().size(); }));
  const auto by_client = ear.struck();
  EXPECT_EQ(std::vector<int>(by_client.begin() + static_cast<std::ptrdiff_t>(so_far), by_client.end()),
            wanted);
  const auto refused = said({"--count", "2", "--along", "3"});
  EXPECT_NE(refused.find("undersong: There are 2 proposals, and no proposal 3.\n"), std::string::npos)
      << refused;
  // To play over the chords: the open take ends, and the log of the next one has the given chords.
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

}  // namespace
}  // namespace undersong::app
