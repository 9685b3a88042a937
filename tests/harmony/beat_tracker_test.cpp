#include "daemon/harmony/beat_tracker.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

namespace undersong::harmony {
namespace {

// The left hand strikes each bar; the right hand plays beats and half beats.
std::vector<TrackedBeat> play(double interval, int meter, double seconds, double swerve = 0,
                              double begin = 1) {
  BeatTracker tracker;
  std::vector<TrackedBeat> beats;
  double t = begin;
  for (int i = 0; t < seconds; ++i) {
    const double here = interval * (1 + swerve * std::sin(i * .15));
    if (i % meter == 0) tracker.note_on(at(t), Pitch(36 + (i / meter * 5) % 12), Velocity(85));
    tracker.note_on(at(t + .004), Pitch(72 + i * 5 % 9), Velocity(70));
    if (i % 3 == 1) tracker.note_on(at(t + here / 2), Pitch(74), Velocity(60));
    t += here;
    while (const auto beat = tracker.take_beat()) beats.push_back(*beat);
  }
  return beats;
}

double hits(const std::vector<TrackedBeat>& beats, double interval, double from) {
  int count = 0, good = 0;
  for (const TrackedBeat& beat : beats) {
    const double t = std::chrono::duration<double>(beat.at).count();
    if (t < from) continue;
    const double place = (t - 1) / interval;
    ++count;
    good += std::abs(place - std::round(place)) * interval < .07;
  }
  return count > 0 ? static_cast<double>(good) / count : 0;
}

TEST(BeatTracker, FollowsASteadyPulseAtItsOwnRate) {
  for (const double interval : {.55, .7, .9}) {
    const auto beats = play(interval, 4, 40);
    EXPECT_GT(hits(beats, interval, 8), .95) << interval;
    EXPECT_NEAR(static_cast<double>(beats.size()), 39 / interval, 10) << interval;
  }
}

TEST(BeatTracker, FollowsATempoThatWanders) {
  const auto beats = play(.7, 4, 60, .1);
  ASSERT_GT(beats.size(), 60u);
  for (std::size_t i = 20; i < beats.size(); ++i) {
    const double gap = std::chrono::duration<double>(beats[i].at - beats[i - 1].at).count();
    EXPECT_GT(gap, .5);
    EXPECT_LT(gap, .95);
  }
}

TEST(BeatTracker, FindsTheBeginningOfTheBarInThreeAndFour) {
  for (const int meter : {3, 4}) {
    const auto beats = play(.6, meter, 50);
    int right = 0, told = 0;
    for (const TrackedBeat& beat : beats) {
      if (!beat.downbeat || beat.at < at(20)) continue;
      ++told;
      const double place = (std::chrono::duration<double>(beat.at).count() - 1) / (.6 * meter);
      right += std::abs(place - std::round(place)) < .12;
    }
    EXPECT_GT(told, 8) << meter;
    EXPECT_GE(right, told * 9 / 10) << meter;
  }
}

TEST(BeatTracker, TimesBeforeZeroCountLikeAnyOthers) {
  const auto usual = play(.6, 4, 30), before = play(.6, 4, -3570, 0, -3599);
  ASSERT_EQ(before.size(), usual.size());
  for (std::size_t i = 0; i < usual.size(); ++i) {
    EXPECT_EQ(before[i].at + at(3600), usual[i].at);
    EXPECT_EQ(before[i].interval, usual[i].interval);
    EXPECT_EQ(before[i].place, usual[i].place);
  }
}

TEST(BeatTracker, TellsHowManyBeatsABarHas) {
  for (const int meter : {3, 4}) {
    const auto beats = play(.6, meter, 60);
    ASSERT_GT(beats.size(), 60u) << meter;
    for (std::size_t i = beats.size() - 20; i < beats.size(); ++i) EXPECT_EQ(beats[i].meter, meter) << i;
  }
}

TEST(BeatTracker, ToldBeatsLieInThePastAndAscend) {
  const auto beats = play(.5, 4, 30);
  ASSERT_FALSE(beats.empty());
  for (std::size_t i = 0; i < beats.size(); ++i) {
    EXPECT_GE(beats[i].told - beats[i].at, kBeatDelay);
    EXPECT_GE(beats[i].confidence, 0);
    EXPECT_LE(beats[i].confidence, 1);
    if (i > 0) {
      EXPECT_GT(beats[i].at, beats[i - 1].at);
    }
  }
}

double mean_confidence(const std::vector<TrackedBeat>& beats) {
  double sum = 0;
  for (const TrackedBeat& beat : beats) sum += beat.confidence;
  return beats.empty() ? 0 : sum / static_cast<double>(beats.size());
}

TEST(BeatTracker, IsMuchLessSureInChanceThanInAPulse) {
  std::mt19937 random(7);
  std::exponential_distribution<double> gap(1 / .6);
  BeatTracker tracker;
  double t = 1;
  std::vector<TrackedBeat> chance;
  while (t < 120) {
    tracker.note_on(at(t), Pitch(40 + static_cast<int>(random() % 40)), Velocity(70));
    t += gap(random);
    while (const auto beat = tracker.take_beat()) chance.push_back(*beat);
  }
  EXPECT_LT(mean_confidence(chance), .6 * mean_confidence(play(.7, 4, 60)));
}

TEST(BeatTracker, ASilenceEndsThePulseAndAnotherMayBegin) {
  BeatTracker tracker;
  const auto run = [&](double from, double interval) {
    for (int i = 0; i < 40; ++i) {
      if (i % 4 == 0) tracker.note_on(at(from + i * interval), Pitch(38 + i % 7), Velocity(80));
      tracker.note_on(at(from + i * interval), Pitch(70 + i % 5), Velocity(70));
    }
    std::vector<TrackedBeat> beats;
    while (const auto beat = tracker.take_beat()) beats.push_back(*beat);
    return beats;
  };
  EXPECT_FALSE(run(1, .6).empty());
  tracker.advance(at(300));
  int trailing = 0;
  while (tracker.take_beat()) ++trailing;
  EXPECT_LE(trailing, 6);  // a few expected beats, not five minutes of them
  const auto again = run(1000, .8);
  ASSERT_GT(again.size(), 10u);
  EXPECT_NEAR(std::chrono::duration<double>(again.back().interval).count(), .8, .06);
}

TEST(BeatTracker, TimeThatRunsBackwardsIsTakenAtTheNewest) {
  BeatTracker tracker;
  tracker.note_on(at(10), Pitch(60), Velocity(70));
  tracker.note_on(at(2), Pitch(62), Velocity(70));
  tracker.advance(at(1));
  EXPECT_FALSE(tracker.take_beat());
}

}  // namespace
}  // namespace undersong::harmony
