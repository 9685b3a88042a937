#include "daemon/takes/along.h"

#include <gtest/gtest.h>

#include <map>
#include <set>

#include "daemon/harmony/chord_symbol.h"
#include "tests/base/times.h"

namespace undersong::takes {
namespace {

Loop loop_of(std::initializer_list<std::pair<const char*, double>> chords) {
  Loop loop;
  Micros at{};
  for (const auto& [harte, beats] : chords) {
    const auto parsed = harmony::parse_harte(harte);
    loop.chords.push_back({parsed->chord, parsed->root, beats, ms(500) * static_cast<int>(beats)});
    at += ms(500) * static_cast<int>(beats);
  }
  loop.passes.push_back({ms(0), at, {}, {}});
  return loop;
}
Beats steady(int count) {
  Beats beats;
  for (int i = 0; i < count; ++i) beats.beats.push_back({ms(500) * i, i % 4 == 0, i == 0});
  beats.confidence = .8f;
  return beats;
}

TEST(Along, GoesRoundAtTheTakesTempoAfterACountIn) {
  const auto along =
      accompaniment(loop_of({{"F:maj7", 4}, {"D:min7", 4}, {"G:min7", 2}, {"C:7", 6}}), steady(16), {});
  ASSERT_TRUE(along);
  EXPECT_NEAR(along->tempo, 120, .01);
  EXPECT_EQ(along->count_in, ms(2000));
  EXPECT_EQ(along->cycle, ms(8000));
  EXPECT_EQ(along->score.length, ms(10'000));
  EXPECT_EQ(along->score.repeat_from, ms(2000));
  ASSERT_EQ(along->chords.size(), 4u);
  EXPECT_EQ(along->chords[3].at, ms(5000));
  EXPECT_EQ(along->chords[3].harte, "C:7");
}

TEST(Along, EveryChordHasItsRootBelowAndItsTonesAboveAndEveryNoteEndsBeforeTheRoundDoes) {
  const auto along =
      accompaniment(loop_of({{"F:maj7", 4}, {"D:min7", 4}, {"G:min7", 2}, {"C:7", 6}}), steady(16), {});
  ASSERT_TRUE(along);
  std::map<Micros, std::set<int>> struck;
  std::map<int, int> down;
  Micros before{};
  for (const auto& e : along->score.events) {
    EXPECT_GE(e.at, before);
    before = e.at;
    const bool on = e.kind() == midi::kNoteOn;
    down[e.bytes[1]] += on ? 1 : -1;
    EXPECT_LE(down[e.bytes[1]], 1) << "struck while it sounds";
    if (on && e.at >= along->count_in) struck[e.at - along->count_in].insert(e.bytes[1]);
  }
  EXPECT_LT(before, along->score.length);
  for (const auto& [key, count] : down) EXPECT_EQ(count, 0) << key;
  const std::map<Micros, int> roots{{ms(0), 5}, {ms(2000), 2}, {ms(4000), 7}, {ms(5000), 0}, {ms(7000), 0}};
  for (const auto& [at, root] : roots) {
    ASSERT_TRUE(struck.contains(at)) << at.count();
    EXPECT_EQ(*struck[at].begin() % 12, root);
    EXPECT_LT(*struck[at].begin(), 44);
    if (at != ms(7000)) {
      EXPECT_GE(struck[at].size(), 4u) << "the bass and at least three tones";
    }
  }
  EXPECT_EQ(struck[ms(7000)].size(), 1u) << "the bass anew in a long chord's second bar, alone";
}

TEST(Along, TempoLayersAndCountInAsAskedFor) {
  AlongWish wish;
  wish.tempo = 60;
  wish.count_in = 0;
  wish.chords = false;
  const auto along = accompaniment(loop_of({{"C", 4}, {"F", 4}}), steady(16), wish);
  ASSERT_TRUE(along);
  EXPECT_EQ(along->cycle, ms(8000));
  EXPECT_EQ(along->count_in, ms(0));
  std::size_t struck = 0;
  for (const auto& e : along->score.events) struck += e.kind() == midi::kNoteOn;
  EXPECT_EQ(struck, 2u);
  EXPECT_FALSE(accompaniment(Loop(), Beats(), {}));
}

TEST(Along, GivenChordsSoundInTheirVeryNotesSoManyRoundsAndThenItIsOver) {
  const auto given = [](const char* harte, std::vector<Pitch> notes) {
    const auto parsed = harmony::parse_harte(harte);
    return GivenChord{parsed->chord, parsed->root, std::move(notes)};
  };
  const std::vector<std::vector<Pitch>> notes{{Pitch(38), Pitch(48), Pitch(53), Pitch(69)},
                                              {Pitch(43), Pitch(53), Pitch(59), Pitch(71)}};
  AlongWish wish;
  wish.count_in = 1;
  wish.rounds = 3;
  wish.given = {given("D:min7", {notes[0][3], notes[0][1], notes[0][0], notes[0][2]}),
                given("G:7", notes[1])};
  const auto loop = loop_of({{"C", 4}, {"F", 2}});
  const auto along = accompaniment(loop, steady(16), wish);
  ASSERT_TRUE(along) << along.error().message;
  EXPECT_TRUE(along->given);
  EXPECT_EQ(along->chords[0].harte, "D:min7");
  EXPECT_EQ(along->chords[1].harte, "G:7");
  EXPECT_FALSE(along->score.repeat_from);
  EXPECT_EQ(along->score.length, ms(2000 + 3 * 3000));
  std::map<Micros, std::vector<Pitch>> struck;
  std::map<int, int> down;
  for (const auto& e : along->score.events) {
    down[e.bytes[1]] += e.kind() == midi::kNoteOn ? 1 : -1;
    if (e.kind() == midi::kNoteOn && e.at >= along->count_in) struck[e.at].emplace_back(e.bytes[1]);
    EXPECT_LE(e.at, along->score.length);
  }
  for (const auto& [key, count] : down) EXPECT_EQ(count, 0) << key;
  ASSERT_EQ(struck.size(), 6u);
  int chord = 0;
  for (const auto& [at, keys] : struck) {
    EXPECT_EQ(at, ms(2000 + 3000 * (chord / 2) + 2000 * (chord % 2)));
    EXPECT_EQ(keys, notes[static_cast<std::size_t>(chord++ % 2)]);
  }
  wish.melody = false;
  wish.count_in = 0;
  const auto below = accompaniment(loop, steady(16), wish);
  ASSERT_TRUE(below);
  for (const auto& e : below->score.events) EXPECT_LT(e.bytes[1], 69) << "without the melody on top";
  wish.given.pop_back();
  const auto too_few = accompaniment(loop, steady(16), wish);
  ASSERT_FALSE(too_few);
  EXPECT_EQ(too_few.error().message, "1 chord is given, but the loop has 2.");
}

TEST(Along, WithoutAPulseChordsLastAsTheyDid) {
  const auto along = accompaniment(loop_of({{"C", 4}, {"F", 2}}), Beats(), {});
  ASSERT_TRUE(along);
  EXPECT_NEAR(static_cast<double>(along->cycle.count()), 3e6, 10);
}

TEST(Along, TheLogSaysTheLoopAndEveryNotesPassAndPlace) {
  const auto along = accompaniment(loop_of({{"C", 4}, {"F", 4}}), steady(16), {});
  ASSERT_TRUE(along);
  std::vector<Line> lines;
  for (const Entry& e :
       {along_begins(ms(9000), 7, *along), pass_begins(ms(10'000), 2), pass_begins(ms(14'000), 3)})
    lines.push_back({1, 8, e.at, e.kind, e.data});
  const auto read = read_along(lines);
  ASSERT_TRUE(read);
  EXPECT_EQ(read->of, 7u);
  EXPECT_EQ(read->cycle, ms(4000));
  ASSERT_EQ(read->chords.size(), 2u);
  const auto placed = place_notes({{ms(9000), ms(100), Pitch(60), Velocity(50)},
                                   {ms(10'100), ms(100), Pitch(62), Velocity(50)},
                                   {ms(11'950), ms(100), Pitch(64), Velocity(50)},
                                   {ms(13'950), ms(100), Pitch(65), Velocity(50)}},
                                  *read);
  EXPECT_EQ(placed[0].pass, 0);
  EXPECT_EQ(placed[0].chord, -1);
  EXPECT_EQ(placed[1].pass, 2);
  EXPECT_EQ(placed[1].place, ms(100));
  EXPECT_EQ(placed[1].chord, 0);
  EXPECT_EQ(placed[2].chord, 1) << "a little before the change: it anticipates it";
  EXPECT_EQ(placed[3].pass, 3);
  EXPECT_EQ(placed[3].place, ms(0));
  EXPECT_FALSE(read_along({}));
}

}  // namespace
}  // namespace undersong::takes
