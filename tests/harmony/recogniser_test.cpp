#include "daemon/harmony/recogniser.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

std::vector<Pitch> keys(std::initializer_list<int> notes) {
  std::vector<Pitch> out;
  for (int note : notes) out.emplace_back(note);
  return out;
}
std::string first(const std::vector<Pitch>& notes, const Context& context = {}) {
  const auto readings = recognise(notes, context);
  if (readings.empty()) return "N";
  return harte(readings[0].chord, spell_within(readings[0].chord.root, -5));
}

TEST(Recogniser, NamesWhatAPlayerHoldsEveryDay) {
  EXPECT_EQ(first(keys({48, 64, 67})), "C:maj");
  EXPECT_EQ(first(keys({52, 60, 67})), "C:maj/3");
  EXPECT_EQ(first(keys({50, 65, 69, 72})), "D:min7");
  EXPECT_EQ(first(keys({43, 65, 71, 76})), "G:7(13)");
  EXPECT_EQ(first(keys({43, 65, 69, 72, 74})), "G:sus4(b7,9)");
  EXPECT_EQ(first(keys({48, 64, 70, 74, 81})), "C:9(13)");
  EXPECT_EQ(first(keys({48, 64, 67, 69})), "C:maj6");
  EXPECT_EQ(first(keys({45, 60, 64, 67})), "A:min7");
  EXPECT_EQ(first(keys({46, 61, 65, 69, 72})), "Bb:minmaj7(9)");
  EXPECT_EQ(first(keys({50, 54, 60, 65, 70})), "D:aug(b7,#9)");
  EXPECT_EQ(first(keys({42, 52, 57, 60})), "F#:hdim7");
}

TEST(Recogniser, FewerThanTwoPitchClassesHaveNoName) {
  EXPECT_TRUE(recognise(keys({})).empty());
  EXPECT_TRUE(recognise(keys({60})).empty());
  EXPECT_TRUE(recognise(keys({48, 60, 72})).empty());
}

TEST(Recogniser, AStackOfFourthsIsQuartalOnlyWhenItIsStacked) {
  EXPECT_EQ(first(keys({50, 55, 60})), "D:(4,b7)");
  EXPECT_NE(first(keys({50, 60, 67})), "D:(4,b7)");
}

TEST(Recogniser, ThePreviousChordBreaksTheTieOfSixthAndSeventh) {
  // E in the bass: C6/E and Am7/E fit equally well; after E7, A is the root a fifth below.
  Context after_e7;
  after_e7.previous = Chord{PitchClass(4), quality("7"), PitchClass(4)};
  const auto notes = keys({52, 60, 67, 69});
  EXPECT_EQ(first(notes, after_e7), "A:min7/5");
}

TEST(Recogniser, ReadingsAreRankedAndTheirConfidencesAddUpToOneAtMost) {
  unsigned state = 7;
  for (int round = 0; round < 5000; ++round) {
    std::vector<Pitch> notes;
    for (int i = 0; i < 2 + round % 7; ++i) {
      state = state * 1664525u + 1013904223u;
      notes.emplace_back(36 + static_cast<int>(state >> 16) % 48);
    }
    std::sort(notes.begin(), notes.end());
    const auto readings = recognise(notes);
    float sum = 0;
    for (std::size_t i = 0; i < readings.size(); ++i) {
      if (i > 0) {
        EXPECT_LE(readings[i].confidence, readings[i - 1].confidence);
      }
      EXPECT_EQ(readings[i].chord.bass, notes.front().pitch_class());
      sum += readings[i].confidence;
    }
    EXPECT_LE(sum, 1.0f + 1e-5f);
  }
}

TEST(Recogniser, TransposingTheNotesTransposesTheName) {
  for (std::size_t i = 0; i < chord_vocabulary().size(); ++i) {
    std::vector<Pitch> notes;
    for (Degree degree : chord_vocabulary()[i].degrees) notes.emplace_back(48 + semitones(degree));
    std::sort(notes.begin(), notes.end());
    const auto at_c = recognise(notes);
    ASSERT_FALSE(at_c.empty());
    for (int up = 1; up < 12; ++up) {
      std::vector<Pitch> moved;
      for (Pitch note : notes) moved.emplace_back(note.value() + up);
      const auto readings = recognise(moved);
      EXPECT_EQ(readings[0].chord.quality, at_c[0].chord.quality);
      EXPECT_EQ(readings[0].chord.root, transpose(at_c[0].chord.root, up));
    }
  }
}

TEST(Recogniser, RicherNamesAreFoundOverAKnownSeventhChord) {
  PitchClassSet sounding;
  for (int tone : {0, 4, 10, 2, 9}) sounding.insert(PitchClass(tone));
  EXPECT_EQ(row(enrich(quality("7"), PitchClass(0), sounding)).harte, "9(13)");
  EXPECT_EQ(row(enrich(quality("min7"), PitchClass(0), sounding)).harte, "min9");
  EXPECT_EQ(row(enrich(quality("maj"), PitchClass(0), sounding)).harte, "maj(9)");
}

}  // namespace
}  // namespace undersong::harmony
