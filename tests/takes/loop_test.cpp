#include "daemon/takes/loop.h"

#include <gtest/gtest.h>

#include <random>

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

TEST(Loop, ChordsInARandomOrderAreNoLoop) {
  const std::vector<const char*> names{"C:maj7", "D:min7", "E:min7", "F:maj7",
                                       "G:7",    "A:min7", "Bb:7",   "Eb:maj7"};
  int claimed = 0;
  for (unsigned seed = 1; seed <= 20; ++seed) {
    std::mt19937 random(seed);
    Script s;
    for (int i = 0, last = -1; i < 60; ++i) {
      int next = static_cast<int>(random() % names.size());
      if (next == last) next = (next + 1) % static_cast<int>(names.size());
      s.chord(names[static_cast<std::size_t>(next)], 1 + static_cast<double>(random() % 3));
      last = next;
    }
    claimed += !find_loops(s.take, {}).empty();
  }
  EXPECT_EQ(claimed, 0);
}

TEST(Loop, APhraseThatReturnsNowAndThenIsNoLoop) {
  Script s;
  const auto phrase = [&] { s.chords({"C:maj7", "A:min7", "D:min7", "G:7"}); };
  phrase();
  s.chords({"F:maj7", "Bb:7", "E:min7", "Eb:dim7", "B:min7", "E:7"});
  phrase();
  s.chords({"Ab:maj7", "Db:maj7", "F:min7", "Bb:7", "Eb:maj7", "F#:hdim7", "B:7", "E:min7"});
  EXPECT_TRUE(find_loops(s.take, {}).empty());
}

TEST(Loop, TwoLoopsOfOneTakeAreBothFoundWithTheirPasses) {
  Script s;
  for (int i = 0; i < 5; ++i) s.chords({"A:min7", "D:min7", "E:7"});
  const double second = s.now;
  for (int i = 0; i < 5; ++i) s.chords({"F:maj7", "G:maj", "C:maj7", "Bb:maj7"});
  for (int i = 0; i < 3; ++i) s.chords({"A:min7", "D:min7", "E:7"});
  auto loops = find_loops(s.take, {});
  ASSERT_EQ(loops.size(), 2u);
  if (loops[0].chords.size() == 4) std::swap(loops[0], loops[1]);
  EXPECT_EQ(names(loops[0]), "A:min7 D:min7 E:7 ");
  EXPECT_EQ(names(loops[1]), "F:maj7 G:maj C:maj7 Bb:maj7 ");
  EXPECT_EQ(loops[0].passes.size(), 8u);
  ASSERT_EQ(loops[1].passes.size(), 5u);
  EXPECT_EQ(loops[1].passes[0].begin, Script::at(second));
}

TEST(Loop, InnerRepeatsOfAFormAreNotLoopsOfTheirOwn) {
  Script s;
  const auto a = [&] { s.chords({"C:maj7", "A:min7", "D:min7", "G:7"}); };
  for (int i = 0; i < 4; ++i) {
    a(), a();
    s.chords({"E:7", "A:7", "D:7", "Ab:7"});
    a();
  }
  const auto loops = find_loops(s.take, {});
  ASSERT_EQ(loops.size(), 1u);
  EXPECT_EQ(names(loops[0]),
            "C:maj7 A:min7 D:min7 G:7 C:maj7 A:min7 D:min7 G:7 E:7 A:7 D:7 Ab:7 C:maj7 A:min7 D:min7 G:7 ");
  EXPECT_EQ(loops[0].passes.size(), 4u);
}

// Keys, played for a listener: chords of one length with a bass note each, struck on every beat or once.
struct Keys {
  std::vector<midi::Event> events;
  double now = 1;
  std::mt19937 random{7};
  void note(double at, double length, int pitch, int velocity) {
    const double off = std::normal_distribution<double>(0, .006)(random);
    events.push_back(midi::note_on(Script::at(at + off), 0, Pitch(pitch), Velocity(velocity)));
    events.push_back(midi::note_off(Script::at(at + off + length), 0, Pitch(pitch)));
  }
  // `bass` 0: no bass note.
  void chord(int bass, std::initializer_list<int> keys, int beats, double beat = .6) {
    if (bass) note(now, .9 * beat * beats, bass, 66);
    for (int b = 0; b < beats; ++b)
      for (const int key : keys) note(now + b * beat, .8 * beat, key, 55);
    now += beat * beats;
  }
  std::vector<Loop> loops() {
    std::stable_sort(events.begin(), events.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
    const HeardTake take = hear(events);
    return find_loops(take, first_beats(take));
  }
};

TEST(Loop, AVampIsOneChordWithItsCount) {
  Keys k;
  for (int bar = 0; bar < 16; ++bar) k.chord(38, {57, 60, 65}, 4);
  const auto loops = k.loops();
  ASSERT_EQ(loops.size(), 1u);
  ASSERT_EQ(loops[0].chords.size(), 1u);
  EXPECT_EQ(loops[0].chords[0].chord.root, PitchClass(2));
  EXPECT_NEAR(static_cast<double>(loops[0].passes.size()), 16, 1);
}

TEST(Loop, ABassThatMovesBelowAChordBelongsToTheCycle) {
  Keys k;
  for (int i = 0; i < 7; ++i) {
    k.chord(36, {60, 64, 67}, 2), k.chord(35, {60, 64, 67}, 2);
    k.chord(45, {60, 64, 69}, 2), k.chord(43, {60, 64, 69}, 2);
    k.chord(41, {60, 65, 69}, 2), k.chord(40, {60, 65, 69}, 2);
  }
  const auto loops = k.loops();
  ASSERT_EQ(loops.size(), 1u);
  EXPECT_EQ(names(loops[0]), "C:maj C:maj/7 A:min A:min/b7 F:maj F:maj/7 ");
  EXPECT_EQ(loops[0].passes.size(), 7u);
  for (const auto& pass : loops[0].passes) EXPECT_EQ(pass.places.size(), 6u);
}

TEST(Loop, ABassThatSwingsToTheFifthIsAccompaniment) {
  Keys k;
  for (int i = 0; i < 7; ++i) {
    k.chord(36, {60, 64, 67}, 2), k.chord(43, {60, 64, 67}, 2);
    k.chord(41, {60, 65, 69}, 2), k.chord(36, {60, 65, 69}, 2);
    k.chord(43, {59, 62, 67}, 2), k.chord(38, {59, 62, 67}, 2);
  }
  const auto loops = k.loops();
  ASSERT_EQ(loops.size(), 1u);
  EXPECT_EQ(names(loops[0]), "C:maj F:maj G:maj ");
}

TEST(Loop, MissingBassesAreBridgedFromTheOtherPasses) {
  Keys k;
  // In three of eight rounds each chord has no bass; without it, Dm7 sounds like F6.
  const auto bass = [](int pitch, const char* played, int i) { return played[i] == '1' ? pitch : 0; };
  for (int i = 0; i < 8; ++i) {
    k.chord(bass(45, "10110101", i), {60, 64, 67, 69}, 4), k.chord(bass(38, "01101011", i), {60, 65, 69}, 4);
    k.chord(bass(43, "11010110", i), {59, 62, 65}, 4), k.chord(bass(36, "01011101", i), {59, 64, 67}, 4);
  }
  const auto loops = k.loops();
  ASSERT_EQ(loops.size(), 1u);
  ASSERT_EQ(loops[0].chords.size(), 4u);
  EXPECT_EQ(loops[0].chords[1].chord.root, PitchClass(2)) << names(loops[0]);
  EXPECT_EQ(loops[0].passes.size(), 8u);
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
