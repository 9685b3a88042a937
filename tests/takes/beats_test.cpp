#include "daemon/takes/beats.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <random>

namespace undersong::takes {
namespace {

double sec(Micros t) {
  return std::chrono::duration<double>(t).count();
}

// Adds bars with a bass note and a tune, starting at `from`. Returns where the next bar would begin.
double bars(std::vector<PlayedNote>& notes, double from, double interval, int meter, int count) {
  for (int i = 0; i < count * meter; ++i) {
    const double t = from + i * interval;
    if (i % meter == 0)
      notes.push_back({at(t), at(interval * meter * .95), Pitch(36 + i / meter * 5 % 12), Velocity(85)});
    notes.push_back({at(t + .003), at(interval * .9), Pitch(72 + i * 5 % 9), Velocity(70)});
    if (i % 3 == 1) notes.push_back({at(t + interval / 2), at(interval * .4), Pitch(74), Velocity(60)});
  }
  return from + count * meter * interval;
}

Beats in_four(int beats, double interval) {
  Beats out;
  for (int i = 0; i < beats; ++i) out.beats.push_back({at(1 + i * interval), i % 4 == 0, i == 0});
  return out;
}

TEST(Beats, LieOnThePulseAndBarsBeginWithTheBass) {
  for (const int meter : {3, 4}) {
    std::vector<PlayedNote> notes;
    bars(notes, 2, .65, meter, 14);
    const Beats found = find_beats(notes);
    ASSERT_TRUE(found.pulse());
    EXPECT_EQ(found.meter, meter);
    EXPECT_NEAR(static_cast<double>(found.beats.size()), 14 * meter, 4);
    for (const Beat& beat : found.beats) {
      const double place = (sec(beat.at) - 2) / .65;
      EXPECT_LT(std::abs(place - std::round(place)), .1) << sec(beat.at);
      if (beat.downbeat && place > 1 && place < 13 * meter) {
        EXPECT_EQ(static_cast<int>(std::lround(place)) % meter, 0) << place;
      }
    }
  }
}

// Chords in quarters over a bass note each bar, with a tune.
std::vector<PlayedNote> straight(double beat, int bar_count = 24) {
  std::vector<PlayedNote> notes;
  const std::array roots{45, 41, 38, 40};
  for (int i = 0; i < 4 * bar_count; ++i) {
    const double t = 2 + i * beat;
    const int root = roots[static_cast<std::size_t>(i / 4 % 4)];
    if (i % 4 == 0) notes.push_back({at(t), at(beat * 3.8), Pitch(root), Velocity(74)});
    for (const int third : {12, 15, 19})
      notes.push_back({at(t + .004), at(beat * .8), Pitch(root + third), Velocity(56)});
    if (i % 4 == 0) notes.push_back({at(t), at(beat * 1.4), Pitch(root + 24), Velocity(78)});
    if (i % 4 == 1) notes.push_back({at(t + beat / 2), at(beat * .4), Pitch(root + 26), Velocity(72)});
    if (i % 4 == 2) notes.push_back({at(t), at(beat * 1.9), Pitch(root + 27), Velocity(76)});
  }
  std::stable_sort(notes.begin(), notes.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  return notes;
}

// Where the chords of `count` bars change.
std::vector<Micros> changes_each(double bar, int count) {
  std::vector<Micros> out;
  for (int i = 0; i < count; ++i) out.push_back(at(2 + i * bar));
  return out;
}

// Of a long take, only passages are asked how fast it is counted.
TEST(Beats, ALongTakeIsCountedToItsEnd) {
  constexpr int kBars = 420;
  constexpr double kBeat = .5;
  const Beats found = find_beats(straight(kBeat, kBars), changes_each(4 * kBeat, kBars));
  ASSERT_TRUE(found.pulse());
  EXPECT_NEAR(sec(usual_length(found)), kBeat, .01);
  EXPECT_EQ(found.meter, 4);
  EXPECT_NEAR(static_cast<double>(found.beats.size()), 4 * kBars, 8);
  EXPECT_NEAR(sec(found.beats.back().at), 2 + (4 * kBars - 1) * kBeat, 2 * kBeat);
}

TEST(Beats, AStraightGridIsCountedAtTheLevelOfItsQuarters) {
  for (const double tempo : {72., 96., 120., 144.}) {
    const Beats found = find_beats(straight(60 / tempo), changes_each(240 / tempo, 24));
    ASSERT_TRUE(found.pulse()) << tempo;
    EXPECT_NEAR(60 / sec(usual_length(found)), tempo, 2) << tempo;
    EXPECT_EQ(found.meter, 4) << tempo;
    EXPECT_EQ(found.feel, harmony::FeelNow{}) << tempo;
  }
}

TEST(Beats, SixEightIsCountedInTwoDottedBeats) {
  std::vector<PlayedNote> notes;
  const double eighth = 60. / 56 / 3;
  const std::array roots{38, 45, 47, 43};
  for (int i = 0; i < 24 * 6; ++i) {
    const double t = 2 + i * eighth;
    const int root = roots[static_cast<std::size_t>(i / 6 % 4)];
    const std::array figure{0, 12, 16, 19, 16, 12};
    notes.push_back({at(t), at(eighth * (i % 6 == 0 ? 2.8 : 1)),
                     Pitch(root + figure[static_cast<std::size_t>(i % 6)]), Velocity(i % 6 == 0 ? 72 : 58)});
    if (i % 6 == 0 || i % 6 == 3)
      notes.push_back({at(t + .003), at(eighth * 2.6), Pitch(root + 31 - i % 6), Velocity(76)});
    if (i % 6 == 5) notes.push_back({at(t + .003), at(eighth * .9), Pitch(root + 29), Velocity(70)});
  }
  const Beats found = find_beats(notes, changes_each(6 * eighth, 24));
  ASSERT_TRUE(found.pulse());
  EXPECT_NEAR(60 / sec(usual_length(found)), 56, 2);
  EXPECT_EQ(found.meter, 2);
  EXPECT_EQ(found.feel.division, 3);
}

TEST(Beats, APulseThatStopsAndBeginsElsewhereIsTwoStretches) {
  std::vector<PlayedNote> notes;
  const double end = bars(notes, 1, .6, 4, 12);
  bars(notes, end + 9.27, .75, 4, 12);
  const Beats found = find_beats(notes);
  int begins = 0;
  for (const Beat& beat : found.beats) {
    begins += beat.begins;
    EXPECT_FALSE(beat.at > at(end + 3) && beat.at < at(end + 8)) << sec(beat.at);
  }
  EXPECT_EQ(begins, 2);
}

TEST(Beats, NotesYearsApartTakeNoMoreWorkThanNotesMinutesApart) {
  std::vector<PlayedNote> notes;
  const double years = 3e8, end = bars(notes, 1, .6, 4, 12);
  bars(notes, end + years, .6, 4, 12);
  const Beats found = find_beats(notes);
  EXPECT_TRUE(found.pulse());
  EXPECT_NEAR(static_cast<double>(found.beats.size()), 2 * 12 * 4, 8);
  for (const Beat& beat : found.beats)
    EXPECT_TRUE(beat.at < at(end + 3) || beat.at > at(end + years - 3)) << sec(beat.at);
}

TEST(Beats, NotesAtChanceDistancesHaveNoPulse) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> gap(.2, 2.5);
  std::vector<PlayedNote> notes;
  double t = 1;
  for (int i = 0; i < 60; ++i, t += gap(random))
    notes.push_back({at(t), at(.3), Pitch(40 + static_cast<int>(random() % 40)), Velocity(70)});
  EXPECT_FALSE(find_beats(notes).pulse());
}

// Chords of random lengths, each with a bass note and now and then a note above.
double freely(std::vector<PlayedNote>& notes, double t, double until, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> length(.7, 2.4);
  while (t < until) {
    const double d = length(random);
    const int root = static_cast<int>(random() % 12);
    for (const int pitch : {36 + root, 54 + (root + 4) % 12, 54 + (root + 10) % 12})
      notes.push_back({at(t), at(d * .9), Pitch(pitch), Velocity(55)});
    if (random() % 2 != 0) notes.push_back({at(t + d * .37), at(.3), Pitch(72 + root), Velocity(65)});
    t += d;
  }
  return t;
}

TEST(Beats, ChordsPlayedFreelyHaveNoPulse) {
  int pulses = 0;
  for (unsigned seed = 1; seed <= 12; ++seed) {
    std::vector<PlayedNote> notes;
    freely(notes, 1, 60, seed);
    pulses += find_beats(notes).pulse();
  }
  EXPECT_LE(pulses, 2);  // one may have a pulse by chance
}

TEST(Beats, FreePlayingBesideASteadyPulseGetsFewBeats) {
  std::vector<PlayedNote> notes;
  const double begin = freely(notes, 1, 16, 3), end = bars(notes, begin, .6, 4, 16);
  freely(notes, end, end + 12, 4);
  const Beats found = find_beats(notes);
  ASSERT_TRUE(found.pulse());
  int inside = 0, outside = 0;
  for (const Beat& beat : found.beats)
    ++(beat.at > at(begin - .1) && beat.at < at(end + .1) ? inside : outside);
  EXPECT_NEAR(inside, 64, 2);
  EXPECT_LT(outside, 22);  // less than half of what a continuing pulse would have
}

// How many of the beats are in the right place, and how many expected beats there are.
struct Kept {
  double right, rate;
};
Kept kept(const Beats& found, const std::vector<double>& truth) {
  double right = 0, all = 0;
  for (const Beat& beat : found.beats) {
    if (sec(beat.at) < truth.front() - .1 || sec(beat.at) > truth.back() + .1) continue;
    ++all;
    for (const double t : truth) right += std::abs(sec(beat.at) - t) < .07 ? 1 : 0;
  }
  return {right / std::max(1., all), all / static_cast<double>(truth.size())};
}

TEST(Beats, ASteadyTakeKeepsItsLevelWhenItsTextureTurnsTwiceAsFast) {
  constexpr double kBeat = .6;
  std::vector<PlayedNote> notes;
  std::vector<double> truth[2];
  for (int i = 0; i < 128; ++i) {
    const double t = 1 + i * kBeat;
    const bool fast = i >= 64;
    truth[fast].push_back(t);
    const int root = i / 4 * 5 % 12;
    if (i % 4 == 0) notes.push_back({at(t), at(2.2), Pitch(36 + root), Velocity(80)});
    for (int k = 0; k < (fast ? 4 : 2); ++k)
      notes.push_back({at(t + k * kBeat / (fast ? 4 : 2)), at(.2),
                       Pitch(60 + root + (k % 2) * 4 + (i % 2) * 3), Velocity(k == 0 ? 72 : 62)});
  }
  const Beats found = find_beats(notes);
  for (const auto& half : truth) {
    EXPECT_NEAR(kept(found, half).rate, 1, .06);
    EXPECT_GT(kept(found, half).right, .95);
  }
}

// Broken chords under a tune, one chord per bar. The tempo drifts away by `bend` and back over about ten
// bars.
std::vector<double> bent(std::vector<PlayedNote>& notes, double beat, double bend, int beats) {
  std::vector<double> out;
  double t = 1;
  for (int i = 0; i < beats; ++i) {
    const double length = beat * (1 + bend * .5 * (1 - std::cos(6.2832 * i / 40)));
    out.push_back(t);
    const int root = i / 4 * 5 % 12;
    for (int k = 0; k < 4; ++k) {
      const int pitch = i % 2 == 0 && k == 0 ? 38 + root : 50 + root + k * 4 % 9;
      notes.push_back({at(t + k * length / 4), at(length * .3), Pitch(pitch), Velocity(58)});
    }
    if (i % 4 != 3)
      notes.push_back({at(t + .012), at(length * .9), Pitch(72 + root % 7 + i % 3 * 2), Velocity(74)});
    else
      for (int k = 0; k < 2; ++k)
        notes.push_back(
            {at(t + k * length / 2 + .008), at(length * .4), Pitch(74 + root % 7 + k), Velocity(70)});
    t += length;
  }
  return out;
}

TEST(Beats, WhoSlowsDownByAQuarterAndComesBackKeepsTheLevel) {
  for (const double beat : {.5, .6}) {
    std::vector<PlayedNote> notes;
    const auto truth = bent(notes, beat, .25, 160);
    const Beats found = find_beats(notes);
    ASSERT_TRUE(found.pulse()) << beat;
    EXPECT_NEAR(kept(found, truth).rate, 1, .05) << beat;
    EXPECT_GT(kept(found, truth).right, .95) << beat;
  }
}

TEST(Beats, NothingPlayedHasNoPulse) {
  EXPECT_FALSE(find_beats({}).pulse());
  EXPECT_FALSE(find_beats({{at(1), at(1), Pitch(60), Velocity(60)}}).pulse());
}

TEST(Beats, NotesAtOneMomentHaveNoPulse) {
  std::vector<PlayedNote> notes;
  for (int i = 0; i < 10; ++i) notes.push_back({at(1), at(2), Pitch(40 + 4 * i), Velocity(70)});
  EXPECT_FALSE(find_beats(notes).pulse());
}

TEST(Corrections, TwiceAsFastPutsABeatBetweenAndBarsKeepTheirNumber) {
  const Beats fast = twice_as_fast(in_four(8, 1));
  ASSERT_EQ(fast.beats.size(), 15u);
  for (std::size_t i = 0; i < fast.beats.size(); ++i) {
    EXPECT_EQ(fast.beats[i].at, at(1 + .5 * static_cast<double>(i)));
    EXPECT_EQ(fast.beats[i].downbeat, i % 4 == 0) << i;
  }
}

TEST(Corrections, HalfAsFastKeepsTheBeatsThatBeginBars) {
  const Beats slow = half_as_fast(in_four(16, .5));
  ASSERT_EQ(slow.beats.size(), 8u);
  for (std::size_t i = 0; i < slow.beats.size(); ++i) {
    EXPECT_EQ(slow.beats[i].at, at(1 + static_cast<double>(i)));
    EXPECT_EQ(slow.beats[i].downbeat, i % 4 == 0) << i;
  }
  EXPECT_TRUE(slow.beats[0].begins);
}

TEST(Corrections, HalfOfTwiceIsWhatWas) {
  const Beats was = in_four(16, .5);
  const Beats now = half_as_fast(twice_as_fast(was));
  ASSERT_EQ(now.beats.size(), was.beats.size());
  for (std::size_t i = 0; i < was.beats.size(); ++i) EXPECT_EQ(now.beats[i].at, was.beats[i].at);
}

TEST(Corrections, ABeatOneBarsEverythingBothWays) {
  const Beats three = with_beat_one(in_four(12, 1), at(6.2), 3);  // beat 5, counted from 0
  EXPECT_EQ(three.meter, 3);
  for (std::size_t i = 0; i < 12; ++i) EXPECT_EQ(three.beats[i].downbeat, i % 3 == 2) << i;
  EXPECT_TRUE(with_beat_one({}, at(1), 4).beats.empty());
}

}  // namespace
}  // namespace undersong::takes
