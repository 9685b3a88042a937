#include "daemon/takes/corrected_beats.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

namespace undersong::takes {
namespace {

Beats steady_taps(int count, int meter = 4) {
  Beats beats;
  for (int i = 0; i < count; ++i) beats.beats.push_back({ms(500) * i, i % meter == 0, i == 0});
  beats.meter = meter;
  beats.confidence = .8f;
  return beats;
}
Line line(BeatLine said) {
  const Entry entry = beat_said(said);
  return {1, 1, entry.at, entry.kind, entry.data};
}
std::vector<int> downbeats(const Beats& beats) {
  std::vector<int> out;
  for (const Beat& beat : beats.beats)
    if (beat.downbeat) out.push_back(static_cast<int>(beat.at / ms(1)));
  return out;
}

TEST(CorrectedBeats, LinesComeBackAsTheyWereWrittenAndDamagedOnesArePassedOver) {
  for (const BeatLine& said :
       {BeatLine{ms(1), BeatWord::kTap, ms(500), 0}, BeatLine{ms(2), BeatWord::kClock, ms(400), 4},
        BeatLine{ms(2), BeatWord::kClock, ms(400), 4, 3}, BeatLine{ms(3), BeatWord::kOne, {}, 0},
        BeatLine{ms(4), BeatWord::kMeter, {}, 3}, BeatLine{ms(5), BeatWord::kUndo, {}, 0}}) {
    const auto read = beat_line(line(said));
    ASSERT_TRUE(read);
    EXPECT_EQ(read->at, said.at);
    EXPECT_EQ(read->what, said.what);
    EXPECT_EQ(read->interval, said.interval);
    EXPECT_EQ(read->meter, said.meter);
    EXPECT_EQ(read->place, said.place);
  }
  for (const char* data :
       {"", "{", "[]", R"({"what":"dance"})", R"({"what":"tap"})", R"({"what":"meter","meter":-2})"})
    EXPECT_FALSE(beat_line({1, 1, ms(0), LineKind::kBeat, data})) << data;
}

TEST(CorrectedBeats, OneMeterTwiceHalfAndUndoApplyInOrder) {
  const BeatLine one{ms(1010), BeatWord::kOne, {}, 0}, three{ms(1010), BeatWord::kMeter, {}, 3},
      twice{ms(0), BeatWord::kTwice, {}, 0}, half{ms(0), BeatWord::kHalf, {}, 0},
      undo{ms(0), BeatWord::kUndo, {}, 0};
  EXPECT_EQ(downbeats(corrected(steady_taps(8), {line(one)})), (std::vector<int>{1000, 3000}));
  EXPECT_EQ(downbeats(corrected(steady_taps(8), {line(one), line(three)})), (std::vector<int>{1000, 2500}));
  EXPECT_EQ(corrected(steady_taps(8), {line(one), line(three)}).meter, 3);
  EXPECT_EQ(corrected(steady_taps(8), {line(twice)}).beats.size(), 15u);
  EXPECT_EQ(corrected(steady_taps(8), {line(half)}).beats.size(), 4u);
  EXPECT_EQ(downbeats(corrected(steady_taps(8), {line(one), line(twice), line(undo)})),
            (std::vector<int>{1000, 3000}));
  EXPECT_EQ(downbeats(corrected(steady_taps(8), {line(one), line(undo), line(undo)})),
            downbeats(steady_taps(8)));
}

TEST(CorrectedBeats, TapsChooseTheLevel) {
  EXPECT_EQ(corrected(steady_taps(16), {line({ms(3500), BeatWord::kTap, ms(1020), 0})}).beats.size(), 8u);
  EXPECT_EQ(corrected(steady_taps(16), {line({ms(3500), BeatWord::kTap, ms(1020), 0})}).beats[0].at, ms(500))
      << "those that were tapped";
  EXPECT_EQ(corrected(steady_taps(16), {line({ms(3000), BeatWord::kTap, ms(260), 0})}).beats.size(), 31u);
  EXPECT_EQ(corrected(steady_taps(16), {line({ms(3000), BeatWord::kTap, ms(480), 0})}).beats.size(), 16u);
}

TEST(CorrectedBeats, AnotherMachinesClockRulesWhereItRan) {
  // Two bars of three from 2.1 s, with beats of 400 ms.
  const Beats beats = corrected(steady_taps(16), {line({ms(2100), BeatWord::kClock, ms(400), 3}),
                                                  line({ms(3300), BeatWord::kClock, ms(400), 3})});
  std::vector<int> within;
  for (const Beat& beat : beats.beats)
    if (beat.at > ms(1800) && beat.at < ms(4500)) within.push_back(static_cast<int>(beat.at / ms(1)));
  EXPECT_EQ(within, (std::vector<int>{2100, 2500, 2900, 3300, 3700, 4100}));
  // The take began on the third beat of four, so its first whole bar begins two beats later.
  const Beats within_a_bar = corrected(steady_taps(16), {line({ms(100), BeatWord::kClock, ms(400), 4, 2}),
                                                         line({ms(900), BeatWord::kClock, ms(400), 4})});
  std::vector<int> all;
  for (const Beat& beat : within_a_bar.beats)
    if (beat.at < ms(2400)) all.push_back(static_cast<int>(beat.at / ms(1)));
  EXPECT_EQ(all, (std::vector<int>{100, 500, 900, 1300, 1700, 2100}));
  EXPECT_EQ(downbeats(within_a_bar).front(), 900);
  EXPECT_EQ(corrected(Beats(), {line({ms(0), BeatWord::kClock, ms(400), 4})}).beats.size(), 4u)
      << "even where nothing was found";
}

TEST(CorrectedBeats, TheTempoStaysWithinTwentyToFourHundredWhateverWasKept) {
  const Line twice = line({ms(0), BeatWord::kTwice, {}, 0}), half = line({ms(0), BeatWord::kHalf, {}, 0}),
             undo = line({ms(0), BeatWord::kUndo, {}, 0});
  EXPECT_EQ(corrected(steady_taps(64), std::vector<Line>(60, twice)).beats.size(), 127u)
      << "120 a minute goes twice as fast once";
  EXPECT_EQ(usual_length(corrected(steady_taps(64), std::vector<Line>(60, half))), ms(2000))
      << "and half as fast twice";
  // Undo skips corrections that had no effect.
  std::vector<Line> lines(40, twice);
  lines.push_back(undo);
  EXPECT_EQ(corrected(steady_taps(64), lines).beats.size(), 64u);
  lines.push_back(half);
  EXPECT_EQ(corrected(steady_taps(64), lines).beats.size(), 32u);
  // Taps and corrections in turn do not add up either.
  lines.clear();
  for (int i = 0; i < 200; ++i) {
    lines.push_back(line({ms(500) * (i % 64), BeatWord::kTap, ms(i % 2 ? 200 : 2500), 0}));
    lines.push_back(i % 3 ? twice : half);
    lines.push_back(line({ms(300), BeatWord::kOne, {}, 0}));
  }
  EXPECT_LE(corrected(steady_taps(64), lines).beats.size(), 256u);
}

TEST(CorrectedBeats, LinesAtTimesFarAwayOrWithIntervalsThatAreNoTempoOverflowNothing) {
  for (const Micros far : {Micros::min(), Micros::max()}) {
    std::vector<Line> lines;
    for (const BeatWord what : {BeatWord::kTap, BeatWord::kClock, BeatWord::kOne, BeatWord::kTwice,
                                BeatWord::kMeter, BeatWord::kHalf, BeatWord::kUndo})
      lines.push_back(line({far, what, ms(500), 4}));
    const Beats beats = corrected(steady_taps(64), lines);
    EXPECT_GE(beats.beats.size(), 64u);
    EXPECT_LE(beats.beats.size(), 200u);
  }
  for (const Micros interval : {ms(149), ms(3001), Micros::max()})
    for (const BeatWord what : {BeatWord::kTap, BeatWord::kClock})
      EXPECT_FALSE(beat_line(line({ms(1), what, interval, 4})));
}

TEST(CorrectedBeats, WhatWouldLeaveTheTempiIsRefusedInASentence) {
  EXPECT_FALSE(refused(steady_taps(16), BeatWord::kTwice, 3));
  EXPECT_FALSE(refused(steady_taps(16), BeatWord::kHalf, 3));
  const auto fast = refused(twice_as_fast(steady_taps(16)), BeatWord::kTwice, 3);
  ASSERT_TRUE(fast);
  EXPECT_EQ(fast->message, "Twice as fast, take 3 would have 480 beats a minute; a tempo is 20 to 400.");
  const auto slow = refused(half_as_fast(half_as_fast(steady_taps(16))), BeatWord::kHalf, 3);
  ASSERT_TRUE(slow);
  EXPECT_EQ(slow->message, "Half as fast, take 3 would have 15 beats a minute; a tempo is 20 to 400.");
  EXPECT_TRUE(refused({}, BeatWord::kTwice, 3));
}

}  // namespace
}  // namespace undersong::takes
