// The beat: taps, and corrections of what is being played and of kept takes.
#include "daemon/takes/corrected_beats.h"
#include "daemon/takes/store.h"
#include "tests/app/running_daemon.h"

namespace undersong::app {
namespace {

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
  ASSERT_TRUE(until_kept(daemon));
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

// The file begins with four even strikes of its lowest note, which is mapped to a tap. Then chords follow, as
// in a performance.
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

}  // namespace
}  // namespace undersong::app
