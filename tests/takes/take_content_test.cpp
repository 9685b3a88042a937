// By which chords a take is recognised, from the chords alone and from a store.
#include "daemon/takes/take_content.h"

#include <gtest/gtest.h>

#include <ostream>

#include "daemon/takes/database.h"
#include "tests/takes/invented_pieces.h"
#include "tests/takes/store_fixture.h"

namespace undersong::takes {
namespace {

struct Case {
  const char* chords;  // a letter each
  std::size_t begin, length;
  int times;
  friend void PrintTo(const Case& each, std::ostream* out) { *out << '"' << each.chords << '"'; }
};

class Content : public testing::TestWithParam<Case> {};

TEST_P(Content, IsWhatWasGoneRound) {
  std::vector<std::uint16_t> chords;
  for (const char* c = GetParam().chords; *c != 0; ++c) chords.push_back(static_cast<std::uint16_t>(*c));
  const ContentFound found = take_content(chords);
  EXPECT_EQ(found.begin, GetParam().begin) << GetParam().chords;
  EXPECT_EQ(found.length, GetParam().length);
  EXPECT_EQ(found.times, GetParam().times);
}

INSTANTIATE_TEST_SUITE_P(Takes, Content,
                         testing::Values(Case{"", 0, 0, 1}, Case{"a", 0, 1, 1}, Case{"abcdef", 0, 4, 1},
                                         Case{"abcdabcdabcd", 0, 4, 3},
                                         // Two chords to and fro are a loop of two, not of four.
                                         Case{"abababab", 0, 2, 4},
                                         // With something else between, and begun at another chord.
                                         Case{"xabcdabcdyzbcdabcda", 1, 4, 4},
                                         // The one that most of the take goes round.
                                         Case{"ababcdecdecdecde", 4, 3, 4}));

TEST(TakeContent, OfAKeptTakeIsInTheListAndItsDetail) {
  TemporaryFolder folder;
  auto database = Database::open(folder.path / "takes.db", {});
  ASSERT_TRUE(database);
  // C, A minor, F and G, a bar each, five times.
  std::vector<InventedNote> notes;
  constexpr int kTriads[4][3] = {{48, 52, 55}, {45, 48, 52}, {41, 45, 48}, {43, 47, 50}};
  for (int bar = 0; bar < 20; ++bar)
    for (const int key : kTriads[bar % 4]) notes.push_back({Micros(bar * 2'000'000), Micros(1'900'000), key});
  database->bring(bring(played(notes), "", 1'700'000'000'000));
  const auto found = database->list({});
  ASSERT_EQ(found.takes.size(), 1u);
  ASSERT_TRUE(found.takes[0].content);
  EXPECT_EQ(found.takes[0].content->chords, (std::vector<std::string>{"C:maj", "A:min", "F:maj", "G:maj"}));
  EXPECT_EQ(found.takes[0].content->times, 5);
  ASSERT_TRUE(database->detail(1)->summary.content);
  EXPECT_EQ(database->detail(1)->summary.content->times, 5);
}

}  // namespace
}  // namespace undersong::takes
