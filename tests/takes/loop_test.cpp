#include "daemon/takes/loop.h"

#include <gtest/gtest.h>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/section.h"

namespace undersong::takes {
namespace {

// A take of chords with given lengths in seconds, and any tune over each.
struct Script {
  HeardTake take;
  double now = 1;
  Script& chord(const char* harte, double seconds = 2) {
    const auto parsed = harmony::parse_harte(harte);
    take.spans.push_back({at(now), at(now + seconds), parsed->chord, parsed->root});
    now += seconds;
    return *this;
  }
  Script& chords(std::initializer_list<const char*> names) {
    for (const char* name : names) chord(name);
    return *this;
  }
  // Notes at equal distances over the next chord.
  Script& tune(std::initializer_list<int> pitches, double over = 2) {
    double t = now;
    for (const int pitch : pitches) {
      take.melody.push_back({at(t), Pitch(pitch)});
      t += over / static_cast<double>(pitches.size());
    }
    return *this;
  }
  static Micros at(double t) { return Micros(static_cast<std::int64_t>(t * 1e6)); }
};

std::string names(const Loop& loop) {
  std::string out;
  for (const auto& chord : loop.chords) out += harmony::harte(chord.chord, chord.root) + " ";
  return out;
}

TEST(Loop, IsFoundBetweenFreePlayingAndBeginsWhereItIsEntered) {
  Script s;
  s.chord("Eb:maj", 1.2).chord("F#:7", 2.9).chord("A:maj7", 1.5);
  const double begin = s.now;
  for (int i = 0; i < 4; ++i) s.chords({"D:min7", "G:7", "C:maj7"});
  s.chord("Ab:min7", 3.1).chord("E:maj", 1.1);
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  EXPECT_EQ(names(*loop), "D:min7 G:7 C:maj7 ");
  ASSERT_EQ(loop->passes.size(), 4u);
  EXPECT_EQ(loop->passes[0].begin, Script::at(begin));
  EXPECT_EQ(loop->passes[3].end, Script::at(begin + 24));
  EXPECT_GT(loop->confidence, .8);
}

TEST(Loop, AnotherLastChordIsAVariantNotALongerLoop) {
  Script s;
  for (int i = 0; i < 8; ++i) s.chords({"A:min7", "D:7", "G:maj7"}).chord(i % 4 == 3 ? "E:7" : "C:maj7");
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  EXPECT_EQ(names(*loop), "A:min7 D:7 G:maj7 C:maj7 ");
  ASSERT_EQ(loop->passes.size(), 8u);
  for (std::size_t i = 0; i < 8; ++i) EXPECT_EQ(loop->passes[i].variant, i % 4 == 3) << i;
  EXPECT_EQ(describe_difference(*loop, loop->passes[3]), "E7 instead of Cmaj7");
}

TEST(Loop, AVariantInEveryFourthPassOfEverySectionIsStillAVariant) {
  Script s;
  for (int section = 0; section < 6; ++section)
    for (int i = 0; i < 4; ++i) s.chords({"A:min7", "D:7", "G:maj7"}).chord(i == 3 ? "E:7" : "C:maj7");
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  EXPECT_EQ(names(*loop), "A:min7 D:7 G:maj7 C:maj7 ");
  EXPECT_EQ(loop->passes.size(), 24u);
}

TEST(Loop, SurvivesAChordLeftOutAndOnePutIn) {
  Script s;
  s.chords({"F:maj7", "Bb:7", "D:min7", "C:sus4(b7)"});
  s.chords({"F:maj7", "Bb:7", "C:sus4(b7)"});
  s.chords({"F:maj7", "Bb:7"}).chord("A:7", .7).chords({"D:min7", "C:sus4(b7)"});
  s.chords({"F:maj7", "Bb:7", "D:min7", "C:sus4(b7)"});
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  EXPECT_EQ(names(*loop), "F:maj7 Bb:7 D:min7 C:sus4(b7) ");
  ASSERT_EQ(loop->passes.size(), 4u);
  EXPECT_EQ(describe_difference(*loop, loop->passes[1]), "without Dm7");
  EXPECT_EQ(describe_difference(*loop, loop->passes[2]), "one extra chord after Bb7");
}

TEST(Loop, APassInAnotherKeyIsSaidToBeSo) {
  Script s;
  for (int i = 0; i < 3; ++i) s.chords({"D:min7", "G:7", "C:maj7", "A:7"});
  s.chords({"E:min7", "A:7", "D:maj7", "B:7"});
  for (int i = 0; i < 2; ++i) s.chords({"D:min7", "G:7", "C:maj7", "A:7"});
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  ASSERT_EQ(loop->passes.size(), 6u);
  EXPECT_EQ(loop->passes[3].transposed, 2);
  EXPECT_EQ(describe_difference(*loop, loop->passes[3]), "2 semitones up");
  EXPECT_EQ(loop->passes[4].transposed, 0);
}

TEST(Loop, APassCutShortIsSaidToBeSo) {
  Script s;
  for (int i = 0; i < 4; ++i) s.chords({"E:min7", "C:maj7", "G:maj", "D:sus4"});
  s.chords({"E:min7", "C:maj7", "G:maj"});
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  ASSERT_EQ(loop->passes.size(), 5u);
  EXPECT_TRUE(loop->passes[4].cut);
  EXPECT_FALSE(loop->passes[3].cut);
}

TEST(Loop, SeparateStatementsOfOneChordStayApart) {
  Script s;
  for (int i = 0; i < 5; ++i) s.chords({"C:maj7", "A:min7", "F:maj7", "C:maj7"});
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  EXPECT_EQ(loop->chords.size(), 4u);
  EXPECT_EQ(loop->passes.size(), 5u);
}

TEST(Loop, ChordsThatNeverComeAgainAreNoLoop) {
  Script s;
  s.chords({"C:maj", "D:min", "F#:7", "Bb:maj", "E:min"});
  EXPECT_FALSE(find_loop(s.take, {}));
  EXPECT_FALSE(find_loop({}, {}));
}

TEST(Sections, AThemeThatReturnsHasItsLetterAgainAndADenserTuneHasAnother) {
  Script s;
  const auto theme = [&] { s.tune({72, 74, 76}).chord("D:min7").tune({77, 74}).chord("G:7"); };
  theme(), theme(), theme();
  s.tune({81, 80, 79, 78, 77, 76, 75, 74})
      .chord("D:min7")
      .tune({72, 73, 75, 71, 74, 77, 81, 84})
      .chord("G:7");
  s.tune({67, 69, 72, 74, 77, 81, 84, 79})
      .chord("D:min7")
      .tune({83, 82, 77, 74, 71, 68, 67, 66})
      .chord("G:7");
  theme(), theme();
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  ASSERT_EQ(loop->passes.size(), 7u);
  const auto found = find_sections(s.take, *loop);
  ASSERT_EQ(found.sections.size(), 3u);
  EXPECT_EQ(found.sections[0].label, "A");
  EXPECT_EQ(found.sections[1].label, "B");
  EXPECT_EQ(found.sections[2].label, "A");
  EXPECT_EQ(found.sections[0].kind, SectionKind::kTheme);
  EXPECT_EQ(found.sections[1].kind, SectionKind::kSolo);
  EXPECT_EQ(found.sections[1].count, 2u);
  EXPECT_NE(found.sections[2].reason.find("comes again"), std::string::npos);
}

TEST(Sections, AMelodyThatKeepsPartOfAnotherHasItsLetterWithAMark) {
  Script s;
  const auto theme = [&] {
    s.tune({72, 74, 76, 79})
        .chord("D:min7")
        .tune({77, 74, 71, 67})
        .chord("G:7")
        .tune({76, 72, 67, 72})
        .chord("C:maj7");
  };
  // The tune of the first chord is kept and the others are new. That happens twice, so it is intended.
  const auto altered = [&] {
    s.tune({72, 74, 76, 79})
        .chord("D:min7")
        .tune({65, 69, 62, 86})
        .chord("G:7")
        .tune({84, 81, 64, 88})
        .chord("C:maj7");
  };
  theme(), theme(), theme(), altered(), altered(), theme(), theme();
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  ASSERT_EQ(loop->passes.size(), 7u);
  const auto found = find_sections(s.take, *loop);
  ASSERT_EQ(found.sections.size(), 3u);
  EXPECT_EQ(found.sections[0].label, "A");
  EXPECT_EQ(found.sections[1].label, "A'");
  EXPECT_EQ(found.sections[1].first, 3u);
  EXPECT_EQ(found.sections[1].count, 2u);
  EXPECT_EQ(found.sections[2].label, "A");
}

TEST(Sections, ASecondAlterationHasASecondMark) {
  Script s;
  const auto play = [&](std::initializer_list<int> second, std::initializer_list<int> third) {
    s.tune({72, 74, 76, 79}).chord("D:min7").tune(second).chord("G:7").tune(third).chord("C:maj7");
  };
  for (int i = 0; i < 3; ++i) play({77, 74, 71, 67}, {76, 72, 67, 72});
  for (int i = 0; i < 2; ++i) play({65, 69, 62, 86}, {84, 81, 64, 88});
  for (int i = 0; i < 2; ++i) play({83, 80, 87, 63}, {70, 66, 91, 61});
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  const auto found = find_sections(s.take, *loop);
  ASSERT_EQ(found.sections.size(), 3u);
  EXPECT_EQ(found.sections[1].label, "A'");
  EXPECT_EQ(found.sections[2].label, "A''");
}

TEST(Sections, ATransposedPassOfTheSameMelodyIsTheSameSection) {
  Script s;
  const auto theme = [&](int moved, std::initializer_list<const char*> chords) {
    const std::vector<std::vector<int>> tunes{{72, 74, 76}, {77, 74}, {76, 72, 67}, {73, 76}};
    std::size_t i = 0;
    for (const char* chord : chords) {
      double t = s.now;
      for (const int pitch : tunes[i]) {
        s.take.melody.push_back({Script::at(t), Pitch(pitch + moved)});
        t += 2 / static_cast<double>(tunes[i].size());
      }
      s.chord(chord);
      ++i;
    }
  };
  for (int i = 0; i < 3; ++i) theme(0, {"D:min7", "G:7", "C:maj7", "A:7"});
  theme(2, {"E:min7", "A:7", "D:maj7", "B:7"});
  for (int i = 0; i < 2; ++i) theme(0, {"D:min7", "G:7", "C:maj7", "A:7"});
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  ASSERT_EQ(loop->passes.size(), 6u);
  EXPECT_EQ(loop->passes[3].transposed, 2);
  const auto found = find_sections(s.take, *loop);
  ASSERT_EQ(found.sections.size(), 1u);
  EXPECT_EQ(found.sections[0].label, "A");
  EXPECT_EQ(found.sections[0].count, 6u);
  EXPECT_GT(found.sections[0].agreement, .95);
}

TEST(Sections, PassesWithoutATuneAreSaidToHaveNone) {
  Script s;
  for (int i = 0; i < 3; ++i) s.chords({"D:min7", "G:7", "C:maj7"});
  const auto loop = find_loop(s.take, {});
  ASSERT_TRUE(loop);
  const auto found = find_sections(s.take, *loop);
  ASSERT_EQ(found.sections.size(), 1u);
  EXPECT_EQ(found.sections[0].kind, SectionKind::kAccompaniment);
}

}  // namespace
}  // namespace undersong::takes
