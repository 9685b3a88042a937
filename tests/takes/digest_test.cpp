// Which moments a digest picks, in which order, and why.
#include "daemon/takes/digest.h"

#include <gtest/gtest.h>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/database.h"
#include "tests/takes/invented_evening.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

constexpr std::int64_t kDigestSecond = 1'000'000;

Micros digest_at(double seconds) {
  return Micros(static_cast<std::int64_t>(seconds * 1e6));
}

AboutLoop loop(std::vector<std::string> chords, double from, double round, int times) {
  AboutLoop out{std::move(chords), {}};
  for (int i = 0; i < times; ++i)
    out.passes.push_back({digest_at(from + i * round), digest_at(round), 0, false});
  return out;
}

KeptMeeting met(double from, double length, int pitch, const char* harte, std::uint32_t time) {
  KeptMeeting out;
  out.at = digest_at(from);
  out.facts.length = digest_at(length);
  out.facts.pitch = Pitch(pitch);
  out.facts.name = "E5";
  out.facts.harte = harte;
  out.facts.time = time;
  return out;
}

// Five minutes at 120 beats a minute: a bar lasts two seconds.
DigestTake take_of(TakeId number = 1) {
  DigestTake take;
  take.take = number;
  take.begin_utc_ms = 1'700'000'000'000 + static_cast<std::int64_t>(number) * 3'600'000;
  take.length = digest_at(300);
  take.about.studied = true;
  take.about.content.tempo = 120;
  return take;
}

TEST(Digest, AMarkIsHeardWithWhatCameBeforeIt) {
  DigestTake take = take_of();
  take.marks = {{digest_at(100), "this turn"}, {digest_at(2), ""}};
  const auto moments = digest({take}, {}, 8);
  ASSERT_EQ(moments.size(), 2u);
  EXPECT_EQ(moments[0].reason, "marked \"this turn\"");
  EXPECT_EQ(moments[0].from, digest_at(88));
  EXPECT_EQ(moments[0].length, digest_at(16));
  EXPECT_EQ(moments[0].bars, 8);
  EXPECT_EQ(moments[1].from, digest_at(0)) << "not before the take begins";
}

TEST(Digest, TheLoopThatWasCircledLongestComesFirstAndEndsWithItsLastRounds) {
  DigestTake take = take_of();
  take.about.loops = {loop({"D:min7", "G:7", "C:maj7"}, 10, 6, 3),
                      loop({"A:min", "F:maj", "E:7"}, 100, 4, 20)};
  const auto moments = digest({take}, {}, 8);
  ASSERT_EQ(moments.size(), 2u);
  EXPECT_EQ(moments[0].reason, "circled for 1:20, 20 times");
  EXPECT_EQ(moments[0].from + moments[0].length, digest_at(180)) << "the last rounds";
  EXPECT_EQ(moments[0].bars, 8);
  EXPECT_EQ(moments[0].chords, (std::vector<std::string>{"A:min", "F:maj", "E:7"}));
  EXPECT_EQ(moments[1].bars, 9) << "three rounds of three bars";
}

TEST(Digest, TheSameLoopInTwoTakesIsOneMomentWhateverItsKey) {
  DigestTake first = take_of(1), second = take_of(2);
  first.about.loops = {loop({"D:min7", "G:7", "C:maj7"}, 10, 6, 9)};
  second.about.loops = {loop({"A:7", "D:maj7", "E:min7"}, 20, 6, 4),
                        loop({"C:maj", "B:min", "A:min"}, 120, 6, 10)};
  const auto moments = digest({second, first}, {}, 8);
  ASSERT_EQ(moments.size(), 2u);
  EXPECT_EQ(moments[0].take, 1u) << "both together were circled longer, and there longest";
  EXPECT_EQ(moments[1].chords[0], "C:maj");
}

TEST(Digest, WhatOneComesBackToCountsOutsideOfLoops) {
  DigestTake take = take_of();
  take.about.loops = {loop({"D:min7", "G:7", "C:maj7"}, 100, 6, 9)};
  for (std::uint32_t i = 0; i < 9; ++i) take.meetings.push_back(met(101 + 6. * i, 1, 76, "D:min7", i + 1));
  for (std::uint32_t i = 0; i < 3; ++i) take.meetings.push_back(met(20 + 10. * i, 1, 76, "Db:maj7", i + 1));
  MetChords known;
  known.add(2, harmony::parse_harte("D:min7")->chord.quality);
  known.add(3, harmony::parse_harte("Db:maj7")->chord.quality);
  const auto moments = digest({take}, known, 8);
  ASSERT_EQ(moments.size(), 2u);
  EXPECT_EQ(moments[1].reason, "came back to Dbmaj7 under E5, 3 times");
  EXPECT_EQ(moments[1].from, digest_at(38)) << "a bar before the last time";
  EXPECT_EQ(moments[1].bars, 4);
}

TEST(Digest, AChordUnderANoteIsNewOnlyIfNoEarlierTakeHasIt) {
  DigestTake take = take_of();
  take.meetings = {met(50, 6, 76, "Db:maj7", 1), met(80, 5, 76, "Bb:7", 1), met(90, 1, 76, "A:min7", 1)};
  MetChords known;
  const auto seventh = harmony::parse_harte("Bb:7")->chord;
  known.add((76 - seventh.root.value()) % 12, seventh.quality);
  const auto moments = digest({take}, known, 8);
  ASSERT_EQ(moments.size(), 1u) << "one is known, and one was held for a moment only";
  EXPECT_EQ(moments[0].reason, "new: Dbmaj7 under E5, held for 6 seconds");
  EXPECT_EQ(moments[0].reasons, (std::vector{DigestReason::kNewChords}));
}

TEST(Digest, AMarkWithinALoopIsOneMomentWithTwoReasons) {
  DigestTake take = take_of();
  take.about.loops = {loop({"D:min7", "G:7", "C:maj7"}, 10, 6, 9)};
  take.marks = {{digest_at(60), "it"}};
  const auto moments = digest({take}, {}, 8);
  ASSERT_EQ(moments.size(), 1u);
  EXPECT_EQ(moments[0].reasons, (std::vector{DigestReason::kMarked, DigestReason::kCircled}));
  EXPECT_EQ(moments[0].reason, "marked \"it\"; circled for 0:54, 9 times");
  EXPECT_EQ(moments[0].chords.size(), 3u);
}

TEST(Digest, WhatWasDismissedStaysAwayAndWhatWasKeptSaysSo) {
  DigestTake take = take_of();
  take.marks = {{digest_at(100), "one"}, {digest_at(200), "two"}};
  take.judged = {{digest_at(88), digest_at(16), Verdict::kDismissed},
                 {digest_at(188), digest_at(16), Verdict::kKept}};
  const auto moments = digest({take}, {}, 8);
  ASSERT_EQ(moments.size(), 1u);
  EXPECT_EQ(moments[0].reason, "marked \"two\"");
  EXPECT_EQ(moments[0].verdict, Verdict::kKept);
}

TEST(Digest, EightHaveSomethingOfEachReasonAndMarksDoNotCrowdOutLoops) {
  DigestTake take = take_of();
  for (int i = 0; i < 12; ++i) take.marks.push_back({digest_at(20 + 20 * i), "m"});
  DigestTake other = take_of(2);
  other.about.loops = {loop({"D:min7", "G:7", "C:maj7"}, 10, 6, 9),
                       loop({"A:min", "F:maj", "E:7"}, 100, 4, 20),
                       loop({"C:maj", "Eb:maj", "F:maj"}, 200, 6, 5)};
  const auto moments = digest({take, other}, {}, 8);
  ASSERT_EQ(moments.size(), 8u);
  const auto count = [&](DigestReason reason) {
    return std::count_if(moments.begin(), moments.end(),
                         [&](const DigestMoment& each) { return each.reasons.front() == reason; });
  };
  EXPECT_EQ(count(DigestReason::kCircled), 3);
  EXPECT_EQ(count(DigestReason::kMarked), 5);
}

TEST(Digest, AnEveningEndsAtFive) {
  const Evening evening = evening_of(1'700'000'000'000);
  EXPECT_LE(evening.from_utc_ms, 1'700'000'000'000);
  EXPECT_GT(evening.to_utc_ms, 1'700'000'000'000);
  EXPECT_EQ(evening_of(evening.to_utc_ms - 1).from_utc_ms, evening.from_utc_ms);
  EXPECT_EQ(evening_of(evening.to_utc_ms).from_utc_ms, evening.to_utc_ms);
  const Evening week = week_of(1'700'000'000'000);
  EXPECT_EQ(week.to_utc_ms, evening.to_utc_ms);
  EXPECT_NEAR(static_cast<double>(week.to_utc_ms - week.from_utc_ms), 7 * 86'400'000., 3'700'000.);
}

TEST(Digest, OfAKeptEveningHasWhatWasPlantedAndForgetsWhatIsDismissed) {
  TemporaryFolder folder;
  auto database = Database::open(folder.path / "takes.db", {});
  ASSERT_TRUE(database);
  const InventedEvening evening = invented_evening(3, 5);
  constexpr std::int64_t kEvening = 1'700'000'000'000;
  for (std::size_t i = 0; i < evening.takes.size(); ++i)
    database->bring(kept_take(evening, i, kEvening + static_cast<std::int64_t>(i) * 600'000));
  const auto found = database->digest({.week = false, .limit = 8});
  EXPECT_EQ(found.takes.size(), evening.takes.size());
  EXPECT_EQ(found.unstudied, evening.takes.size());
  for (const Planted& planted : evening.planted)
    EXPECT_TRUE(std::any_of(found.moments.begin(), found.moments.end(),
                            [&](const DigestMoment& moment) {
                              return finds(moment, found.takes[moment.take].take - 1, planted);
                            }))
        << (planted.marked ? "the mark at " : "the loop at ") << planted.from.count() / kDigestSecond;
  const DigestMoment first = found.moments.front();
  const TakeId take = found.takes[first.take].take;
  const Judgement said{first.from, first.length, Verdict::kDismissed};
  ASSERT_TRUE(database->edit(LineKind::kVerdict, take, Micros(0), text(said)));
  const auto rest = database->digest({.week = false, .limit = 8});
  EXPECT_TRUE(std::none_of(rest.moments.begin(), rest.moments.end(), [&](const DigestMoment& moment) {
    return rest.takes[moment.take].take == take && moment.from == first.from;
  }));
  ASSERT_TRUE(
      database->edit(LineKind::kVerdict, take, Micros(0), text({first.from, first.length, Verdict::kOpen})));
  EXPECT_EQ(database->digest({.week = false, .limit = 8}).moments.size(), found.moments.size());
}

TEST(Judgement, IsReadAsItWasWritten) {
  const Judgement said{digest_at(3), digest_at(4), Verdict::kDismissed};
  EXPECT_EQ(judgement(text(said)), said);
  EXPECT_FALSE(judgement(R"({"from_us":3,"length_us":4,"verdict":"good"})"));
  EXPECT_FALSE(judgement("kept"));
}

}  // namespace
}  // namespace undersong::takes
