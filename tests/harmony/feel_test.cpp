#include "daemon/harmony/feel.h"

#include <gtest/gtest.h>

#include <vector>

namespace undersong::harmony {
namespace {

// A hundred beats with strikes at these places.
FeelNow after(const std::vector<float>& places) {
  Feel feel;
  for (int beat = 0; beat < 100; ++beat)
    for (const float place : places) feel.strike(place);
  return feel.now();
}

TEST(Feel, BeatsAreStraightUntilMuchIsKnown) {
  EXPECT_EQ(Feel().now(), FeelNow{});
  Feel feel;
  feel.strike(0), feel.strike(.66f), feel.strike(.33f);
  EXPECT_EQ(feel.now(), FeelNow{});
}

TEST(Feel, HalvesAndQuartersAreStraight) {
  EXPECT_EQ(after({0, .5f}), FeelNow{});
  EXPECT_EQ(after({0, .25f, .5f, .75f}), FeelNow{});
  EXPECT_EQ(after({0, .75f, .25f}), FeelNow{});
}

TEST(Feel, ThreePartsAreCompound) {
  EXPECT_EQ(after({0, .335f, .665f}).division, 3);
  EXPECT_EQ(after({0, .34f, .66f}).swing, 1);
}

TEST(Feel, ALongAndAShortPartAreASwingWithItsRatio) {
  const FeelNow shuffle = after({0, .6667f});
  EXPECT_EQ(shuffle.division, 2);
  EXPECT_NEAR(shuffle.swing, 2, .15);
  EXPECT_NEAR(after({0, .6f}).swing, 1.5, .15);
}

TEST(Feel, ItFollowsAChange) {
  Feel feel;
  for (int beat = 0; beat < 200; ++beat) feel.strike(0), feel.strike(.5f);
  for (int beat = 0; beat < 300; ++beat) feel.strike(0), feel.strike(.335f), feel.strike(.665f);
  EXPECT_EQ(feel.now().division, 3);
}

TEST(Feel, PlacesOutsideTheBeatAreIgnored) {
  EXPECT_EQ(after({-1, 1, 2, 1e30f}), FeelNow{});
}

TEST(Feel, MetresAreWrittenInEighthsWhereTheBeatIsDottedOrQuick) {
  EXPECT_EQ(time_signature(2, 3, 1.1), (TimeSignature{6, 8}));
  EXPECT_EQ(time_signature(3, 3, .9), (TimeSignature{9, 8}));
  EXPECT_EQ(time_signature(4, 3, .7), (TimeSignature{12, 8}));
  EXPECT_EQ(time_signature(7, 2, .26), (TimeSignature{7, 8}));
  EXPECT_EQ(time_signature(7, 2, .5), (TimeSignature{7, 4}));
  EXPECT_EQ(time_signature(5, 2, .5), (TimeSignature{5, 4}));
  EXPECT_EQ(time_signature(4, 2, .3), (TimeSignature{4, 4}));
}

}  // namespace
}  // namespace undersong::harmony
