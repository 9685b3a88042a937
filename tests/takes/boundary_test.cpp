#include "daemon/takes/boundary.h"

#include <gtest/gtest.h>

namespace undersong::takes {
namespace {

using std::chrono::seconds;

TEST(Boundary, ATakeBeginsWithANoteNotWithAPedal) {
  Boundary boundary;
  EXPECT_FALSE(boundary.played(seconds(1), false, false).begun);
  EXPECT_EQ(boundary.next_deadline(), std::nullopt);
  EXPECT_EQ(boundary.played(seconds(2), true, true).begun, seconds(2));
  EXPECT_FALSE(boundary.played(seconds(3), true, true).begun) << "only the first";
  EXPECT_EQ(boundary.began(), seconds(2));
}

TEST(Boundary, EndsAfterSilenceAtTheTimeItFellSilent) {
  Boundary boundary(seconds(20));
  boundary.played(seconds(2), true, true);
  boundary.played(seconds(5), false, false);
  EXPECT_EQ(boundary.next_deadline(), seconds(25));
  EXPECT_FALSE(boundary.passed(seconds(25) - Micros(1)).ended);
  EXPECT_EQ(boundary.passed(seconds(25)).ended, seconds(5));
  EXPECT_FALSE(boundary.passed(seconds(99)).ended) << "only once";
}

TEST(Boundary, DoesNotEndWhileSomethingSoundsUntilItMustHaveDiedAway) {
  Boundary boundary(seconds(20));
  boundary.played(seconds(2), true, true);
  EXPECT_FALSE(boundary.passed(seconds(100)).ended);
  EXPECT_EQ(boundary.next_deadline(), seconds(2) + Boundary::kForgotten);
  EXPECT_EQ(boundary.passed(seconds(2) + Boundary::kForgotten).ended, seconds(2));
}

TEST(Boundary, GivesTheSameTakesWhetherOrNotItIsAskedInBetween) {
  Boundary asked, not_asked;
  for (Boundary* b : {&asked, &not_asked}) {
    b->played(seconds(1), true, true);
    b->played(seconds(2), false, false);
  }
  EXPECT_EQ(asked.passed(seconds(23)).ended, seconds(2));
  EXPECT_EQ(asked.played(seconds(60), true, true).begun, seconds(60));
  const auto change = not_asked.played(seconds(60), true, true);
  EXPECT_EQ(change.ended, seconds(2));
  EXPECT_EQ(change.begun, seconds(60));
}

TEST(Boundary, EndsOnRequestAndTheNextNoteBeginsAnother) {
  Boundary boundary;
  EXPECT_FALSE(boundary.end(seconds(1)).ended) << "there was none";
  boundary.played(seconds(2), true, true);
  EXPECT_EQ(boundary.end(seconds(4)).ended, seconds(4));
  EXPECT_EQ(boundary.began(), std::nullopt);
  EXPECT_FALSE(boundary.played(seconds(5), false, false).begun) << "a key that goes up";
  EXPECT_EQ(boundary.played(seconds(6), true, true).begun, seconds(6));
}

}  // namespace
}  // namespace undersong::takes
