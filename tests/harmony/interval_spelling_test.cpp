#include <gtest/gtest.h>

#include "daemon/harmony/interval.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {
namespace {

// Source: semitones of degrees as in mir_eval's scale-degree table (mir_eval/chord.py).
TEST(Interval, DegreesHaveThePublishedSemitones) {
  const std::pair<const char*, int> kTable[] = {{"1", 0},    {"2", 2},    {"3", 4},   {"4", 5},   {"5", 7},
                                                {"6", 9},    {"7", 11},   {"8", 12},  {"9", 14},  {"10", 16},
                                                {"11", 17},  {"12", 19},  {"13", 21}, {"b7", 10}, {"bb7", 9},
                                                {"#11", 18}, {"b13", 20}, {"#5", 8}};
  for (const auto& [name, semi] : kTable) {
    const auto degree = parse_degree(name);
    ASSERT_TRUE(degree) << name;
    EXPECT_EQ(semitones(*degree), semi) << name;
    EXPECT_EQ(text(*degree), name);
  }
}

TEST(Interval, RefusesWhatIsNoDegree) {
  for (const char* bad : {"", "b", "0", "14", "#", "x3", "3b", "bbbb3", "111"})
    EXPECT_FALSE(parse_degree(bad)) << bad;
}

TEST(Spelling, EveryNameOfThreeAccidentalsReadsBack) {
  for (int fifths = -22; fifths <= 26; ++fifths) {
    const NoteName name(fifths);
    const auto back = parse_note_name(text(name));
    ASSERT_TRUE(back) << text(name);
    EXPECT_EQ(*back, name);
  }
}

// Source: pitch classes of names as in mir_eval's tests (Gbb 5, G 7, G# 8, Cb 11, B# 0).
TEST(Spelling, NamesHaveThePublishedPitchClasses) {
  const std::pair<const char*, int> kTable[] = {{"Gbb", 5}, {"G", 7}, {"G#", 8}, {"Cb", 11},
                                                {"B#", 0},  {"E", 4}, {"F", 5}};
  for (const auto& [name, pc] : kTable) EXPECT_EQ(parse_note_name(name)->pitch_class().value(), pc) << name;
  for (const char* bad : {"", "#C", "bG", "H", "Cab", "c"}) EXPECT_FALSE(parse_note_name(bad)) << bad;
}

TEST(Spelling, ThirdsStackOnLetters) {
  const NoteName c = *parse_note_name("C");
  EXPECT_EQ(text(c.above({3, -1})), "Eb");
  EXPECT_EQ(text(c.above({9, 1})), "D#");
  EXPECT_EQ(text(c.above({7, -2})), "Bbb");
  EXPECT_EQ(text(parse_note_name("F#")->above({3, 0})), "A#");
  EXPECT_EQ(text(parse_note_name("Db")->above({7, -1})), "Cb");
}

TEST(Spelling, OctaveFollowsTheLetter) {
  EXPECT_EQ(text(*parse_note_name("C"), Pitch(60)), "C4");
  EXPECT_EQ(text(*parse_note_name("B#"), Pitch(60)), "B#3");
  EXPECT_EQ(text(*parse_note_name("Cb"), Pitch(59)), "Cb4");
  EXPECT_EQ(text(*parse_note_name("A"), Pitch(21)), "A0");
}

TEST(Spelling, AWindowOfTwelveFifthsNamesEachPitchClassOnce) {
  for (int lowest = -9; lowest <= 3; ++lowest)
    for (int pc = 0; pc < 12; ++pc) {
      const NoteName name = spell_within(PitchClass(pc), lowest);
      EXPECT_EQ(name.pitch_class().value(), pc);
      EXPECT_GE(name.fifths(), lowest);
      EXPECT_LT(name.fifths(), lowest + 12);
    }
}

}  // namespace
}  // namespace undersong::harmony
