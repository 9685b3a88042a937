// Checks that a new chord quality needs only one row in the vocabulary, the one that CMakeLists.txt adds.
#include <gtest/gtest.h>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/recogniser.h"
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {
namespace {

TEST(ChordQualityRecipe, OneRowIsReadWrittenHeardAndLaidOut) {
  const auto quality = find_quality("7(#9,#11)");
  ASSERT_TRUE(quality);
  const Chord chord{PitchClass(7), *quality, PitchClass(7)};
  const auto root = *parse_note_name("G");
  EXPECT_EQ(symbol(chord, root), "G7#9#11");
  const auto written = parse_symbol("G7#9#11");
  ASSERT_TRUE(written);
  EXPECT_EQ(written->chord, chord);
  const auto read = parse_harte("G:7(#9,#11)");
  ASSERT_TRUE(read);
  EXPECT_EQ(read->chord, chord);

  std::vector<Pitch> keys;
  for (const int key : {43, 59, 62, 65, 70, 73}) keys.emplace_back(key);
  const auto readings = recognise(keys, {});
  ASSERT_FALSE(readings.empty());
  EXPECT_EQ(readings[0].chord, chord);

  const std::vector<Pitch> melody{Pitch(77)};
  EXPECT_GE(voice(chord, melody, Hands()).right.size(), 1u);
}

}  // namespace
}  // namespace undersong::harmony
