#include "daemon/harmony/substitution.h"

#include <gtest/gtest.h>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::harmony {
namespace {

std::string_view named(const char* usual, const char* instead,
                       std::optional<Key> key = Key{PitchClass(0), Mode::kMajor}) {
  return text(substitution(parse_harte(usual)->chord, parse_harte(instead)->chord, key));
}

TEST(Substitution, HasTheNameTheTradeGivesIt) {
  EXPECT_EQ(named("C:maj", "C:maj9"), "the same");
  EXPECT_EQ(named("C:maj", "C:min7"), "parallel");
  EXPECT_EQ(named("G:7", "G:sus4(b7)"), "suspension");
  EXPECT_EQ(named("C:maj7", "C:7"), "same root");
  EXPECT_EQ(named("G:7", "Db:7"), "tritone substitute");
  EXPECT_EQ(named("G:7", "D:min7"), "related ii");
  EXPECT_EQ(named("D:min7", "G:9"), "the V of that ii");
  EXPECT_EQ(named("G:7", "B:dim7"), "diminished");
  EXPECT_EQ(named("G:7", "Ab:dim7"), "diminished");
  EXPECT_EQ(named("C:maj", "A:min7"), "relative");
  EXPECT_EQ(named("A:min", "C:maj7"), "relative");
  EXPECT_EQ(named("C:maj", "E:min"), "leading-tone exchange");
  EXPECT_EQ(named("A:min", "F:maj"), "leading-tone exchange");
  EXPECT_EQ(named("D:min7", "F:min"), "borrowed");
  EXPECT_EQ(named("C:maj", "E:maj"), "chromatic mediant");
  EXPECT_EQ(named("C:maj", "Bb:min"), "another chord");
}

TEST(Substitution, WithoutAKeyThirdsAreMediants) {
  EXPECT_EQ(named("C:maj", "Ab:maj", std::nullopt), "chromatic mediant");
  EXPECT_EQ(named("C:maj", "Ab:maj"), "borrowed");
}

}  // namespace
}  // namespace undersong::harmony
