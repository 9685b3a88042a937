// What is kept of takes at a glance: made, kept, read, made anew when more is said.
#include "daemon/takes/take_about.h"

#include <gtest/gtest.h>

#include "daemon/takes/database.h"
#include "tests/takes/invented_pieces.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

TEST(TakeAbout, IsReadAsItWasKept) {
  TakeAbout about;
  about.content = {{"C:maj", "A:min/b3"}, 7, 73.5, Micros(91'000'000), 4, {}};
  about.meter = 3;
  about.melody.assign(kPictureSpans, 0);
  about.melody[5] = 76;
  about.loops = {{{"C:maj", "A:min"}, {{Micros(5), Micros(8), -2, true}, {Micros(13), Micros(8), 0, false}}}};
  TakeAbout read;
  ASSERT_TRUE(unpack_name(packed_name(about), read));
  ASSERT_TRUE(unpack_picture(packed_picture(about), read));
  EXPECT_EQ(read, about);
  for (const char* damaged :
       {"", "{}", "[1]", R"({"chords":[3]})", R"({"melody":[],"loops":[{"chords":[],"passes":[[1]]}]})"}) {
    EXPECT_FALSE(unpack_name(damaged, read)) << damaged;
    EXPECT_FALSE(unpack_picture(damaged, read)) << damaged;
  }
}

TEST(TakeAbout, ALoopIsTheSameInAnyKeyAndFromAnyOfItsChords) {
  using Chords = std::vector<std::string>;
  const LoopKey in_c = loop_key(Chords{"D:min7", "G:7", "C:maj7"});
  const LoopKey turned = loop_key(Chords{"C:maj", "D:min", "G:9"});
  const LoopKey in_f = loop_key(Chords{"G:min7", "C:7", "F:maj7"});
  EXPECT_NE(in_c.number, 0);
  EXPECT_EQ(in_c, turned);
  EXPECT_EQ(in_f.number, in_c.number);
  EXPECT_EQ(nearest_shift(in_c.root, in_f.root), 5);
  EXPECT_EQ(nearest_shift(in_f.root, in_c.root), -5);
  EXPECT_NE(loop_key(Chords{"D:min7", "G:min7", "C:maj7"}).number, in_c.number);
  EXPECT_EQ(loop_key(Chords{"C:maj", "F:maj"}).number, 0) << "two chords to and fro say too little";
}

TEST(TakeAbout, TheMelodyOfAPartIsItsLongestNote) {
  // Ten seconds: C for half of them, then a short D and a long E.
  const std::vector<FindNote> melody{{0, 60}, {300, 60}, {500, 62}, {510, 64}, {900, 65}};
  const auto picture = melody_picture(melody, Micros(10'000'000));
  ASSERT_EQ(picture.size(), kPictureSpans);
  EXPECT_EQ(picture[0], 60);
  EXPECT_EQ(picture[47], 60);
  EXPECT_EQ(picture[60], 64);
  EXPECT_EQ(picture[95], 65);
  EXPECT_EQ(melody_picture({}, Micros(0))[3], 0);
  EXPECT_EQ(melody_picture(std::vector<FindNote>{{0, 60}}, Micros(96'000'000))[10], 0)
      << "no note sounds for ever";
}

std::vector<midi::Event> rounds(const std::vector<std::array<int, 3>>& chords, int times, int shift = 0) {
  std::vector<InventedNote> notes;
  for (int bar = 0; bar < times * static_cast<int>(chords.size()); ++bar)
    for (const int key : chords[static_cast<std::size_t>(bar) % chords.size()])
      notes.push_back({Micros(bar * 2'000'000), Micros(1'900'000), key + shift});
  return played(notes);
}

const std::vector<std::array<int, 3>> kRounds{{48, 52, 55}, {45, 48, 52}, {41, 45, 48}, {43, 47, 50}};
const std::vector<std::array<int, 3>> kOthers{{50, 53, 57}, {46, 50, 53}, {44, 48, 51}};

class KeptAbout : public testing::Test {
 protected:
  void SetUp() override {
    auto opened = Database::open(folder.path / "takes.db", {});
    ASSERT_TRUE(opened);
    database.emplace(std::move(*opened));
  }
  TakeId bring_rounds(const std::vector<std::array<int, 3>>& chords, int shift, std::int64_t utc_ms) {
    return database->bring(bring(rounds(chords, 6, shift), "", utc_ms)).take;
  }
  TemporaryFolder folder;
  std::optional<Database> database;
};

TEST_F(KeptAbout, TakesWithTheSameLoopPointToEachOther) {
  const TakeId later = bring_rounds(kRounds, 5, 1'700'000'000'000);
  const TakeId other = bring_rounds(kOthers, 0, 1'650'000'000'000);
  const TakeId earlier = bring_rounds(kRounds, 0, 1'600'000'000'000);
  const auto takes = database->list({}).takes;
  ASSERT_EQ(takes.size(), 3u);
  const auto content_of = [&](TakeId take) { return database->detail(take)->summary.content; };
  ASSERT_TRUE(content_of(later));
  EXPECT_EQ(content_of(later)->again, (LoopAgain{earlier, 1'600'000'000'000, 5}))
      << "by their dates, not by their numbers";
  EXPECT_FALSE(content_of(earlier)->again);
  EXPECT_FALSE(content_of(other)->again);
  EXPECT_EQ(content_of(later)->circled, Micros(48'000'000 - 100'000));
  const auto similar = database->similar(earlier);
  ASSERT_EQ(similar.size(), 1u);
  EXPECT_EQ(similar[0].found.take, later);
  EXPECT_EQ(similar[0].found.shift, 5);
  ASSERT_TRUE(similar[0].content);
  EXPECT_EQ(similar[0].content->times, 6);
}

TEST_F(KeptAbout, AStudyHoldsUntilMoreIsSaidOfTheTake) {
  const TakeId take = bring_rounds(kRounds, 0, 1'700'000'000'000);
  EXPECT_EQ(database->next_unstudied(~TakeId{0}), take);
  const auto before = database->about(take);
  ASSERT_TRUE(before);
  EXPECT_FALSE(before->studied);
  StudiedTake studied{take, 0, {}, {{"beats", "[1]"}}};
  studied.about.content = {{"C:maj9", "A:min7", "F:maj7", "G:7"}, 6, 120., {}, 0, {}};
  studied.about.loops = before->loops;
  EXPECT_TRUE(database->put_study(studied));
  EXPECT_EQ(database->next_unstudied(~TakeId{0}), std::nullopt);
  EXPECT_EQ(database->detail(take)->summary.content->tempo, 120.);
  EXPECT_EQ(database->detail(take)->summary.content->chords[0], "C:maj9");
  EXPECT_EQ(database->about(take)->melody, before->melody) << "the picture's line stays";
  EXPECT_EQ(database->kept_answer(take, "beats"), "[1]");
  EXPECT_EQ(database->kept_answer(take, "loop"), std::nullopt);

  const auto said = database->edit(LineKind::kCorrection, take, Micros(3'000'000), "A:min7");
  ASSERT_TRUE(said);
  EXPECT_EQ(database->next_unstudied(~TakeId{0}), take);
  EXPECT_EQ(database->kept_answer(take, "beats"), std::nullopt) << "it was worked out before that was said";
  EXPECT_FALSE(database->put_study(studied)) << "a study that has not seen it is not kept";
  studied.said = said->number;
  EXPECT_TRUE(database->put_study(studied));
  EXPECT_EQ(database->kept_answer(take, "beats"), "[1]");
}

TEST_F(KeptAbout, AListMakesTheMissingRowsOfOlderTakesOnce) {
  const TakeId take = bring_rounds(kRounds, 0, 1'700'000'000'000);
  const auto name = database->list({}).takes[0].content;
  database.reset();
  const auto count = [&] {
    SQLite::Database file((folder.path / "takes.db").string(), SQLite::OPEN_READWRITE);
    return file.execAndGet("SELECT count(*) FROM abouts").getInt();
  };
  {
    SQLite::Database file((folder.path / "takes.db").string(), SQLite::OPEN_READWRITE);
    file.exec("DELETE FROM abouts");
  }
  database.emplace(*Database::open(folder.path / "takes.db", {}));
  EXPECT_EQ(count(), 0);
  EXPECT_EQ(database->list({}).takes[0].content, name);
  EXPECT_EQ(count(), 1);
  EXPECT_EQ(database->next_unstudied(~TakeId{0}), take);
}

}  // namespace
}  // namespace undersong::takes
