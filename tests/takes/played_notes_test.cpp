#include "daemon/takes/played_notes.h"
#include "tests/base/times.h"

#include <gtest/gtest.h>

namespace undersong::takes {
namespace {

midi::Event on(std::int64_t at, int key, std::uint8_t channel = 0, int velocity = 80) {
  return midi::note_on(us(at), channel, Pitch(key), Velocity(velocity));
}
midi::Event off(std::int64_t at, int key, std::uint8_t channel = 0) {
  return midi::note_off(us(at), channel, Pitch(key));
}

TEST(PlayedNotes, LastFromKeyDownToKeyUp) {
  const auto played = played_notes({on(0, 60), on(10, 64, 0, 50), off(40, 60), off(90, 64)});
  ASSERT_EQ(played.notes.size(), 2u);
  EXPECT_EQ(played.notes[0].pitch, Pitch(60));
  EXPECT_EQ(played.notes[0].length, us(40));
  EXPECT_EQ(played.notes[1].velocity, Velocity(50));
  EXPECT_EQ(played.notes[1].length, us(80));
}

TEST(PlayedNotes, AKeyStruckAgainEndsItsFirstNoteAndOneNeverLetGoEndsWithTheTake) {
  const auto played = played_notes({on(0, 60), on(30, 60), on(40, 62), off(50, 62)});
  ASSERT_EQ(played.notes.size(), 3u);
  EXPECT_EQ(played.notes[0].length, us(30));
  EXPECT_EQ(played.notes[1].length, us(20));
}

TEST(PlayedNotes, TheSameKeyOnTwoChannelsIsTwoNotes) {
  const auto played = played_notes({on(0, 60, 0), on(5, 60, 1), off(10, 60, 0), off(30, 60, 1)});
  ASSERT_EQ(played.notes.size(), 2u);
  EXPECT_EQ(played.notes[0].length, us(10));
  EXPECT_EQ(played.notes[1].length, us(25));
}

TEST(PlayedNotes, DrumsAreLeftOutAndThePedalTellsItsChangesOnly) {
  const auto pedal = [](std::int64_t at, std::uint8_t value) {
    return midi::control_change(us(at), 0, 64, value);
  };
  const auto played =
      played_notes({on(0, 36, midi::kDrumChannel), pedal(1, 20), pedal(2, 70), pedal(3, 127), pedal(9, 0)});
  EXPECT_TRUE(played.notes.empty());
  ASSERT_EQ(played.pedal.size(), 2u);
  EXPECT_TRUE(played.pedal[0].down);
  EXPECT_EQ(played.pedal[0].at, us(2));
  EXPECT_FALSE(played.pedal[1].down);
  EXPECT_EQ(played.pedal[1].at, us(9));
}

TEST(PlayedNotes, NothingPlayedIsNoNotes) {
  EXPECT_TRUE(played_notes({}).notes.empty());
}

TEST(Thumbnail, TellsRangeAndNumberOfEachSpan) {
  const auto seen =
      thumbnail({on(100, 40), on(120, 72), off(130, 40), on(190, 60), on(200, 50)}, us(100), us(100), 2);
  ASSERT_EQ(seen.spans.size(), 2u);
  EXPECT_EQ(seen.spans[0].lowest, Pitch(40));
  EXPECT_EQ(seen.spans[0].highest, Pitch(72));
  EXPECT_EQ(seen.spans[0].notes, 2u);
  EXPECT_EQ(seen.spans[1].lowest, Pitch(50));
  EXPECT_EQ(seen.spans[1].notes, 2u) << "what falls on the end belongs to the last span";
}

TEST(Thumbnail, ATakeWithoutLengthHasAllInOneSpan) {
  EXPECT_EQ(thumbnail({on(5, 60)}, us(5), us(0), 3).spans[0].notes, 1u);
}

}  // namespace
}  // namespace undersong::takes
