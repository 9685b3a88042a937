// Studies that several threads ask for, of an invented piece.
#include "daemon/song/study_cache.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <future>
#include <vector>

#include "tests/base/times.h"
#include "tests/takes/invented_pieces.h"

namespace undersong::song {
namespace {

takes::Store::Midi invented_take(takes::TakeId number) {
  takes::Store::Midi out;
  out.events = takes::played(takes::invented_piece(static_cast<unsigned>(number)).notes);
  out.detail.summary.take = number;
  out.detail.summary.last_at = out.events.back().at;
  out.detail.summary.last_line = 100;
  return out;
}

// Something was said of its beat.
takes::Store::Midi corrected(takes::Store::Midi take) {
  take.said.push_back({101, take.detail.summary.take, us(1000), takes::LineKind::kBeat, "{}"});
  return take;
}

TEST(StudyCache, WhoeverAsksForOneThatIsBeingMadeGetsTheSame) {
  StudyCache cache;
  const auto take = invented_take(1);
  std::vector<std::future<StudyCache::Study>> asked;
  for (int i = 0; i < 4; ++i) asked.push_back(std::async(std::launch::async, [&] { return cache.of(take); }));
  const auto first = asked.front().get();
  ASSERT_NE(first, nullptr);
  for (std::size_t i = 1; i < asked.size(); ++i) EXPECT_EQ(asked[i].get(), first);
  EXPECT_EQ(cache.of(take), first);
  EXPECT_FALSE(cache.progress().of(1));
}

// The daemon studies all takes in passing. That must not push those out that somebody works on.
TEST(StudyCache, OneMadeInPassingIsRememberedOnlyIfSomebodyWorksOnTheTake) {
  StudyCache cache;
  const auto alone = cache.in_passing(invented_take(1), {});
  EXPECT_NE(cache.of(invented_take(1)), alone);
  const auto before = cache.of(invented_take(2));
  EXPECT_EQ(cache.in_passing(invented_take(2), {}), before) << "it is there already";
  const auto after = cache.in_passing(corrected(invented_take(2)), {});
  EXPECT_NE(after, before);
  EXPECT_EQ(cache.of(corrected(invented_take(2))), after);
}

TEST(StudyCache, OneThatIsGivenUpIsMadeAgainByTheNextWhoAsks) {
  StudyCache cache;
  const auto take = invented_take(3);
  std::vector<double> shares;
  const auto give_up = [&](double share) {
    shares.push_back(share);
    EXPECT_TRUE(cache.progress().of(3));
    EXPECT_FALSE(cache.progress().give_up(4)) << "another take";
    EXPECT_TRUE(cache.progress().give_up(3));
  };
  EXPECT_THROW((void)cache.in_passing(take, give_up), StudyGivenUp);
  EXPECT_EQ(shares.size(), 1u);
  EXPECT_FALSE(cache.progress().give_up(3)) << "it is not under way any more";
  EXPECT_NE(cache.of(take), nullptr);
}

TEST(StudyCache, TheShareThatIsDoneGrowsToTheEnd) {
  StudyCache cache;
  std::vector<double> shares;
  (void)cache.in_passing(invented_take(5), [&](double share) { shares.push_back(share); });
  ASSERT_GT(shares.size(), 5u);
  EXPECT_TRUE(std::is_sorted(shares.begin(), shares.end()));
  EXPECT_LT(shares.front(), .1);
  EXPECT_GT(shares.back(), .8);
  EXPECT_LE(shares.back(), 1);
}

}  // namespace
}  // namespace undersong::song
