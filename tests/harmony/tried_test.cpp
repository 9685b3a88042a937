#include "daemon/harmony/tried.h"

#include <gtest/gtest.h>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

Chord chord(int root, const char* kind, int bass = -1) {
  return {PitchClass(root), quality(kind), PitchClass(bass < 0 ? root : bass)};
}

TEST(Tried, HoldsForTheVeryChordAndNeverForANeighbour) {
  Tried tried;
  tried.add(chord(9, "min"));
  EXPECT_EQ(tried.times(chord(9, "min")), 1);
  for (const char* neighbour : {"minmaj7(9)", "min7", "min9", "maj", "min6"})
    EXPECT_EQ(tried.times(chord(9, neighbour)), 0) << neighbour;
  EXPECT_EQ(tried.times(chord(10, "min")), 0);
}

TEST(Tried, AnInversionIsTheSameChordASlashChordIsAnother) {
  Tried tried;
  tried.add(chord(5, "maj", 9));  // F/A
  EXPECT_EQ(tried.times(chord(5, "maj")), 1);
  EXPECT_EQ(tried.times(chord(5, "maj", 9)), 1);
  EXPECT_EQ(tried.times(chord(5, "maj", 0)), 0) << "another inversion, if it is shown as such";
  tried.add(chord(5, "maj", 7));  // F/G sounds as a suspended G
  EXPECT_EQ(tried.times(chord(5, "maj")), 1);
  EXPECT_EQ(tried.times(chord(5, "maj", 7)), 1);
}

TEST(Tried, CountsUpTo255AndForgetsWhatWasPlayedLongestAgo) {
  Tried tried;
  for (int i = 0; i < 300; ++i) tried.add(chord(2, "7"));
  EXPECT_EQ(tried.times(chord(2, "7")), 255);
  for (std::size_t i = 0; i < Tried::kMost; ++i)
    tried.add(chord(static_cast<int>(i % 12), i < 12 ? "maj7" : i < 24 ? "min7" : i < 36 ? "9" : "dim7"));
  EXPECT_EQ(tried.times(chord(2, "7")), 0);
  EXPECT_EQ(tried.times(chord(0, "maj7")), 1);
  EXPECT_EQ(tried.chords().size(), Tried::kMost);
  EXPECT_EQ(tried.chords()[0].chord, chord(11, "dim7"));
  tried.clear();
  EXPECT_EQ(tried.times(chord(0, "maj7")), 0);
}

TEST(Liked, TellsOfTheVeryChordAndRemembersItsFamily) {
  Liked liked;
  liked.add(chord(9, "min"), 2);
  EXPECT_EQ(liked.times(chord(9, "min")), 2);
  EXPECT_EQ(liked.times(chord(9, "minmaj7(9)")), 0);
  EXPECT_EQ(liked.kin(PitchClass(9))[static_cast<std::size_t>(Family::kMinor)], 2);
  liked.add(chord(9, "min7"), 200);
  EXPECT_EQ(liked.kin(PitchClass(9))[static_cast<std::size_t>(Family::kMinor)], Liked::kMostKin);
}

}  // namespace
}  // namespace undersong::harmony
