// The pulse: clock, taps and corrections. Time is an argument throughout.
#include "daemon/listen/pulse.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace undersong::listen {
namespace {

class PulseTest : public testing::Test {
 protected:
  void pass(Micros until) {
    for (auto due = pulse.next_deadline(); due && *due <= until; due = pulse.next_deadline()) {
      pulse.advance(*due);
      ++wakes;
      collect();
    }
  }
  void collect() {
    while (const auto beat = pulse.take_beat()) beats.push_back(*beat);
  }
  // A bass note on each bar of `meter`, a chord on every beat.
  void play(Micros from, Micros interval, int count, int meter = 4) {
    for (int i = 0; i < count; ++i) {
      const Micros at = from + interval * i;
      pass(at);
      if (i % meter == 0) pulse.note_on(at, Pitch(36 + i / meter % 4 * 2), Velocity(80));
      for (int key : {60, 64, 67}) pulse.note_on(at, Pitch(key + i / meter % 4 * 2), Velocity(60));
      collect();
    }
  }
  void clock(Micros at, std::uint8_t status = 0xF8, std::uint8_t low = 0, std::uint8_t high = 0) {
    pass(at);
    const midi::Event event{at, {status, low, high}, static_cast<std::uint8_t>(status == 0xF2 ? 3 : 1), 1};
    ASSERT_TRUE(is_clock(event));
    pulse.clock(event);
    collect();
  }
  void clocks(Micros from, Micros quarter, int quarters) {
    for (int i = 0; i < 24 * quarters; ++i) clock(from + quarter * i / 24);
  }
  Pulse pulse;
  std::vector<ToldBeat> beats;
  int wakes = 0;
};

TEST_F(PulseTest, FollowsThePlayingAndSaysNothingWhileNobodyPlays) {
  EXPECT_FALSE(pulse.next_deadline());
  play(ms(1000), ms(500), 32);
  ASSERT_TRUE(pulse.now());
  EXPECT_NEAR(pulse.now()->tempo, 120, 3);
  EXPECT_EQ(pulse.now()->source, BeatSource::kPlayed);
  wakes = 0;
  pass(ms(600'000));
  EXPECT_FALSE(pulse.now()) << "the player has stopped";
  EXPECT_FALSE(pulse.next_deadline());
  EXPECT_LT(wakes, 30) << "some looks after the last note, then none";
}

TEST_F(PulseTest, ChangesOnceABeatAtMost) {
  int changes = 0;
  for (int i = 0; i < 400; ++i) {  // notes ten times a second
    const Micros at = ms(1000) + ms(100) * i;
    for (auto due = pulse.next_deadline(); due && *due <= at; due = pulse.next_deadline())
      changes += pulse.advance(*due);
    changes += pulse.note_on(at, Pitch(48 + 12 * (i % 5 == 0 ? 0 : 1)), Velocity(i % 5 == 0 ? 90 : 50));
  }
  EXPECT_LT(changes, 170) << "forty seconds";
}

TEST_F(PulseTest, AClockWithAPositionRulesBeatsAndBars) {
  clock(ms(900), 0xFA);
  clocks(ms(1000), ms(400), 9);
  ASSERT_TRUE(pulse.now());
  EXPECT_EQ(pulse.now()->tempo, 150);
  EXPECT_EQ(pulse.now()->source, BeatSource::kClock);
  EXPECT_EQ(pulse.now()->place, 0) << "the ninth quarter begins a bar";
  // Playing at another tempo does not change it.
  for (int i = 0; i < 24 * 16; ++i) {
    const Micros at = ms(1000) + ms(400) * 9 + ms(400) * i / 24;
    if (i % 37 == 0) pulse.note_on(at, Pitch(60), Velocity(80));
    clock(at);
  }
  EXPECT_EQ(pulse.now()->tempo, 150);
}

TEST_F(PulseTest, ThePlacedClocksVeryFirstBeatIsToldToo) {
  clock(ms(990), 0xFA);
  clocks(ms(1000), ms(500), 3);
  ASSERT_EQ(beats.size(), 3u);
  for (std::size_t i = 0; i < beats.size(); ++i) {
    EXPECT_EQ(beats[i].at, ms(1000) + ms(500) * static_cast<int>(i));
    EXPECT_EQ(beats[i].place, static_cast<int>(i));
    EXPECT_TRUE(beats[i].barred);
  }
}

TEST_F(PulseTest, AClockWithoutAPositionCountsFromItsFirstMessageAndSaysNoBar) {
  for (int i = 0; i < 24 * 9; ++i) {
    const Micros at = ms(1000) + ms(500) * i / 24;
    // A single note: somebody is there, but it says nothing about beats.
    if (i == 3) pulse.note_on(at, Pitch(60), Velocity(80));
    if (i == 100) pulse.note_on(at, Pitch(64), Velocity(80));
    clock(at);
  }
  ASSERT_TRUE(pulse.now());
  EXPECT_EQ(pulse.now()->source, BeatSource::kClock);
  EXPECT_EQ(pulse.now()->tempo, 120);
  ASSERT_GE(beats.size(), 7u);
  for (std::size_t i = 0; i < beats.size(); ++i) {
    EXPECT_NEAR(static_cast<double>((beats[i].at - ms(1500)).count()), 500e3 * static_cast<double>(i), 2e3)
        << "on each 24th message from the first";
    EXPECT_NEAR(static_cast<double>(beats[i].interval.count()), 500e3, 1e3);
    EXPECT_FALSE(beats[i].barred) << "where the bar begins it doesn't say";
  }
}

TEST_F(PulseTest, OfAClockWithoutAPositionNothingIsToldWhileNobodyPlays) {
  clocks(ms(1000), ms(500), 12);
  EXPECT_FALSE(pulse.now());
  EXPECT_TRUE(beats.empty());
}

TEST_F(PulseTest, TheDownbeatOfAClockWithoutAPositionIsTheOneThatIsTapped) {
  const Micros quarter = ms(500);
  int clocked = 0;
  const auto run = [&](Micros until) {
    for (; ms(1000) + quarter * clocked / 24 <= until; ++clocked) clock(ms(1000) + quarter * clocked / 24);
  };
  run(ms(3900));
  for (int tap = 0; tap < 4; ++tap) {
    run(ms(4000) + quarter * tap);
    pulse.tap(ms(4000) + quarter * tap);
    collect();
  }
  // The player goes on with the bass on three; what was tapped holds.
  for (int i = 4; i < 40; ++i) {
    const Micros at = ms(4000) + quarter * i;
    run(at);
    if (i % 4 == 2) pulse.note_on(at, Pitch(36 + i / 4 % 4 * 2), Velocity(85));
    for (int key : {60, 64, 67}) pulse.note_on(at, Pitch(key + (i + 2) / 4 % 4 * 2), Velocity(60));
    collect();
  }
  ASSERT_TRUE(pulse.now());
  EXPECT_EQ(pulse.now()->source, BeatSource::kClock);
  EXPECT_EQ(pulse.now()->tempo, 120);
  std::size_t after = 0;
  for (const ToldBeat& beat : beats) {
    if (beat.at < ms(5600)) continue;
    ++after;
    EXPECT_EQ(
        beat.place,
        static_cast<int>(std::lround(static_cast<double>((beat.at - ms(4000)).count()) / 500e3)) % beat.meter)
        << beat.at.count();
  }
  EXPECT_GE(after, 30u);
}

TEST_F(PulseTest, WhereTheBeatsOfAClockWithoutAPositionAreThePlayingSays) {
  // The clock was already running when it was plugged in, so its first message falls between two beats.
  int clocked = 0;
  for (int i = 0; i < 40; ++i) {
    const Micros at = ms(1000) + ms(500) * i;
    for (; ms(760) + ms(500) * clocked / 24 <= at; ++clocked) clock(ms(760) + ms(500) * clocked / 24);
    play(at, ms(500), 1, 1);
  }
  ASSERT_TRUE(pulse.now());
  EXPECT_EQ(pulse.now()->source, BeatSource::kClock);
  EXPECT_EQ(pulse.now()->tempo, 120);
  ASSERT_GT(beats.size(), 12u);
  for (std::size_t i = beats.size() - 8; i < beats.size(); ++i) {
    const auto from_beat = (beats[i].at - ms(1000)) % ms(500);
    EXPECT_LT(std::min(from_beat, ms(500) - from_beat), ms(60)) << beats[i].at.count();
  }
}

TEST_F(PulseTest, SongPositionSaysWhereInTheBar) {
  clock(ms(900), 0xF2, 8, 0);  // eight sixteenths: the third quarter
  clock(ms(950), 0xFB);
  clocks(ms(1000), ms(500), 5);
  ASSERT_TRUE(pulse.now());
  EXPECT_EQ(pulse.now()->place, (2 + 4) % 4);
}

TEST_F(PulseTest, WhenTheClockIsLostThePlayingIsFollowedAgain) {
  clock(ms(0), 0xFA);
  for (int i = 0; i < 24 * 8; ++i) {
    const Micros at = ms(500) * i / 24;
    if (i % 24 == 0) pulse.note_on(at, Pitch(48), Velocity(80));
    clock(at);
  }
  EXPECT_EQ(pulse.now()->source, BeatSource::kClock);
  play(ms(4000), ms(600), 24);
  ASSERT_TRUE(pulse.now());
  EXPECT_EQ(pulse.now()->source, BeatSource::kPlayed);
  EXPECT_NEAR(pulse.now()->tempo, 100, 4);
}

TEST_F(PulseTest, AStoppedClockRulesNoMore) {
  clock(ms(0), 0xFA);
  clocks(ms(10), ms(500), 3);
  ASSERT_TRUE(pulse.now());
  clock(ms(1600), 0xFC);
  EXPECT_FALSE(pulse.now());
}

TEST_F(PulseTest, FourEvenTapsSetTheBeatAndTheFirstIsOne) {
  for (int i = 0; i < 4; ++i) pulse.tap(ms(1000) + ms(700) * i);
  ASSERT_TRUE(pulse.now());
  EXPECT_NEAR(pulse.now()->tempo, 86, 1);
  EXPECT_EQ(pulse.now()->place, 3);
  EXPECT_EQ(pulse.now()->source, BeatSource::kTapped);
  ASSERT_TRUE(pulse.tapped());
  // Played in eighth notes from beat one: the tapped level stays.
  play(ms(1000) + ms(700) * 4, ms(350), 48, 8);
  ASSERT_TRUE(pulse.now());
  EXPECT_NEAR(pulse.now()->tempo, 86, 3);
  EXPECT_EQ(pulse.now()->source, BeatSource::kTapped);
}

TEST_F(PulseTest, UnevenTapsAndBouncesSetNothing) {
  for (int at : {1000, 1050, 1500, 2900, 3200}) pulse.tap(ms(at));
  EXPECT_FALSE(pulse.tapped());
  EXPECT_FALSE(pulse.now());
}

TEST_F(PulseTest, ThisIsBeatOneHoldsFromNowOn) {
  play(ms(1000), ms(500), 24);
  ASSERT_TRUE(pulse.now());
  const Micros one = pulse.now()->at - ms(500);  // the beat before the newest
  ASSERT_EQ(pulse.beat_one(one + ms(40)), Correction::kDone);
  EXPECT_EQ(pulse.now()->place, 1);
  const Micros newest = pulse.now()->at;
  beats.clear();
  play(ms(13000), ms(500), 12);
  for (const ToldBeat& beat : beats) {
    const auto since = static_cast<int>(std::lround(static_cast<double>((beat.at - newest).count()) / 500e3));
    EXPECT_EQ(beat.place, (1 + since) % 4) << since;
  }
}

TEST_F(PulseTest, TwiceAndHalfAndMeterAndUndo) {
  play(ms(1000), ms(500), 24);
  ASSERT_TRUE(pulse.now());
  const int tempo = pulse.now()->tempo;
  ASSERT_EQ(pulse.half_as_fast(ms(12'600)), Correction::kDone);
  EXPECT_NEAR(pulse.now()->tempo, tempo / 2.0, 2) << "at once";
  beats.clear();
  play(ms(13'000), ms(500), 16);
  ASSERT_GT(beats.size(), 5u);
  EXPECT_LT(beats.size(), 10u) << "and from then on";
  ASSERT_EQ(pulse.undo(ms(20'600)), Correction::kDone);
  ASSERT_EQ(pulse.set_meter(ms(20'600), 3), Correction::kDone);
  EXPECT_EQ(pulse.now()->meter, 3);
  beats.clear();
  play(ms(21'000), ms(500), 13, 3);
  ASSERT_GT(beats.size(), 9u);
  EXPECT_EQ(beats.back().meter, 3);
  ASSERT_EQ(pulse.twice_as_fast(ms(27'100)), Correction::kDone);
  beats.clear();
  play(ms(27'500), ms(500), 8);
  EXPECT_GT(beats.size(), 11u);
  EXPECT_EQ(pulse.set_meter(ms(32'000), 0), Correction::kNoMeter);
}

TEST_F(PulseTest, CorrectionsEndWithTheTakeButACountInBelongsToTheNext) {
  for (int i = 0; i < 4; ++i) pulse.tap(ms(1000) + ms(600) * i);
  pulse.begin_take(ms(3400));
  EXPECT_EQ(pulse.undo(ms(3500)), Correction::kDone) << "tapped just before it";
  for (int i = 0; i < 4; ++i) pulse.tap(ms(11'000) + ms(600) * i);
  pulse.begin_take(ms(60'000));
  EXPECT_EQ(pulse.undo(ms(60'000)), Correction::kNothing);
}

TEST_F(PulseTest, ACorrectionThatWouldLeaveTwentyToFourHundredIsRefusedAndTheRestGoesOn) {
  for (int i = 0; i < 4; ++i) pulse.tap(ms(1000) + ms(600) * i);
  Micros at = ms(2900);
  ASSERT_EQ(pulse.twice_as_fast(at), Correction::kDone);  // 200
  ASSERT_EQ(pulse.twice_as_fast(at), Correction::kDone);  // 400
  for (int i = 0; i < 40; ++i) EXPECT_EQ(pulse.twice_as_fast(at), Correction::kTooFast);
  EXPECT_EQ(pulse.now()->tempo, 400);
  ASSERT_EQ(pulse.undo(at), Correction::kDone) << "those that were refused are none to take back";
  EXPECT_EQ(pulse.now()->tempo, 200) << "at once";
  collect();
  beats.clear();
  pulse.advance(at = ms(4800));
  collect();
  ASSERT_GT(beats.size(), 2u);
  for (const ToldBeat& beat : beats) EXPECT_EQ(beat.interval, ms(300));
  ASSERT_EQ(pulse.half_as_fast(at), Correction::kDone);  // 100
  ASSERT_EQ(pulse.half_as_fast(at), Correction::kDone);  // 50
  ASSERT_EQ(pulse.half_as_fast(at), Correction::kDone);  // 25
  for (int i = 0; i < 80; ++i) EXPECT_EQ(pulse.half_as_fast(at), Correction::kTooSlow);
  EXPECT_EQ(pulse.now()->tempo, 25);
}

TEST_F(PulseTest, AtTheFastestAndTheSlowestCorrectionIsRefusedWhileNotesGoOn) {
  for (int round = 0; round < 2; ++round) {
    pulse = Pulse();
    for (int i = 0; i < 4; ++i) pulse.tap(ms(1000) + ms(600) * i);
    for (int i = 0; i < 70; ++i) round == 0 ? pulse.twice_as_fast(ms(2800)) : pulse.half_as_fast(ms(2800));
    for (int i = 0; i < 200; ++i) {
      pulse.note_on(ms(3000) + ms(157) * i, Pitch(60), Velocity(70));
      pulse.advance(ms(3000) + ms(157) * i + ms(80));
      while (const auto beat = pulse.take_beat())
        ASSERT_TRUE(is_tempo(beat->interval)) << beat->interval.count();
    }
  }
}

TEST_F(PulseTest, ANoteLongBeforeTimeZeroHoldsNothingUp) {
  pulse.note_on(ms(-3'600'000'000'000), Pitch(60), Velocity(70));  // a hundred years
  play(ms(1000), ms(500), 32);
  ASSERT_TRUE(pulse.now());
  EXPECT_NEAR(pulse.now()->tempo, 120, 3);
}

TEST_F(PulseTest, TimesHoweverFarAwayEndAtOnceAndOverflowNothing) {
  for (const Micros far : {Micros::max(), Micros::min(), Micros::max() - ms(1), Micros(0)}) {
    pulse = Pulse();
    for (int i = 0; i < 4; ++i) pulse.tap(ms(1000) + ms(600) * i);
    pulse.twice_as_fast(far);
    pulse.half_as_fast(far);
    pulse.beat_one(far);
    pulse.set_meter(far, 3);
    EXPECT_EQ(pulse.undo(far), Correction::kDone);
    EXPECT_TRUE(pulse.now()) << "a correction does not carry time away";
    pulse.begin_take(far);
    pulse.note_on(far, Pitch(60), Velocity(70));
    for (int i = 0; i < 30; ++i) pulse.clock({far, {0xF8}, 1, 1});
    pulse.tap(far);
    pulse.advance(far);
    (void)pulse.next_deadline();
    pulse.note_on(ms(9000), Pitch(60), Velocity(70));
    pulse.advance(ms(9100));
  }
}

}  // namespace
}  // namespace undersong::listen
