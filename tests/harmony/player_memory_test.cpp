// The player's own idiom: what it does to the list, and what it never does.
#include "daemon/harmony/player_memory.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <utility>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

constexpr Key kC{PitchClass(0), Mode::kMajor};

Chord chord(int root, std::string_view name) {
  return {PitchClass(root), quality(name), PitchClass(root)};
}
PlayedChord played(const Chord& last, const Chord& next, int held, float weight = 1) {
  return {PlayedChord::kNoChord, seen_from(PitchClass(0), last), seen_from(PitchClass(0), next),
          static_cast<std::uint8_t>(held), weight};
}
Question question(int melody, std::optional<Chord> previous, std::optional<Key> key = kC) {
  Question out;
  out.melody.push_back(Pitch(melody));
  out.previous = previous;
  out.key = key;
  return out;
}
Alternatives ranked(Question of, const PlayerMemory* player, float surprising = -1) {
  of.player = player;
  of.wishes.surprising = surprising;
  Alternatives out;
  const Hands hands;
  rank_alternatives(of, &hands, out);
  return out;
}
std::size_t place(const Alternatives& list, int root, QualityClass cls) {
  std::size_t at = 0;
  while (at < list.size() &&
         (list[at].chord.root != PitchClass(root) || quality_class(list[at].chord.quality) != cls))
    ++at;
  return at;
}
bool alike(const Alternatives& a, const Alternatives& b) {
  return a.size() == b.size() && std::equal(a.begin(), a.end(), b.begin(), [](const auto& x, const auto& y) {
           return x.chord == y.chord && x.score == y.score && x.familiar == y.familiar &&
                  x.voicing == y.voicing && x.reason == y.reason;
         });
}
PlayerMemory flat_sixth_player(float fade = 1) {
  PlayerCounts counts;
  for (int i = 0; i < 10; ++i) counts.add(played(chord(0, "maj"), chord(8, "maj7"), 0), fade);
  return PlayerMemory(counts);
}
std::array<float, kTableChords> scores(const PlayerMemory& memory, PitchClass tonic, const Chord& last,
                                       int held, float much = 1) {
  ChordsBefore before;
  before.push_back(last);
  ChordScores out{};
  memory.add_scores(tonic, before, PitchClass(held), much, out);
  return out;
}

TEST(PlayerMemory, WhatThePlayerGoesToComesHigher) {
  const auto memory = flat_sixth_player();
  const auto asked = question(72, chord(0, "maj"));
  const auto first_on_flat_sixth = [](const Alternatives& list) {
    return std::find_if(list.begin(), list.end(),
                        [](const auto& each) { return each.chord.root == PitchClass(8); }) -
           list.begin();
  };
  const auto without = first_on_flat_sixth(ranked(asked, nullptr));
  EXPECT_GT(without, 0);
  EXPECT_LT(first_on_flat_sixth(ranked(asked, &memory)), without);
  // With no wish, the very chord stands higher too.
  EXPECT_LT(place(ranked(asked, &memory, 0), 8, QualityClass::kMajorSeventh),
            place(ranked(asked, nullptr, 0), 8, QualityClass::kMajorSeventh));
}

TEST(PlayerMemory, AnEmptyOneChangesNothing) {
  const PlayerMemory memory{PlayerCounts()};
  std::mt19937 random(3);
  for (int i = 0; i < 40; ++i) {
    const auto asked = question(60 + static_cast<int>(random() % 24),
                                chord(static_cast<int>(random() % 12), i % 2 ? "min7" : "7"),
                                i % 5 ? std::optional(kC) : std::nullopt);
    for (const float surprising : {-1.0f, 0.0f, 1.0f})
      EXPECT_TRUE(alike(ranked(asked, &memory, surprising), ranked(asked, nullptr, surprising)));
  }
}

TEST(PlayerMemory, WithoutAKeyItSaysNothing) {
  const auto memory = flat_sixth_player();
  const auto asked = question(72, chord(0, "maj"), std::nullopt);
  EXPECT_TRUE(alike(ranked(asked, &memory), ranked(asked, nullptr)));
}

TEST(PlayerMemory, CountsTheSameInEveryKey) {
  const auto memory = flat_sixth_player();
  const auto in_c = scores(memory, PitchClass(0), chord(0, "maj"), 0);
  for (int up = 1; up < 12; ++up) {
    const auto moved = scores(memory, PitchClass(up), chord(up, "maj"), up);
    for (std::size_t c = 0; c < kTableChords; ++c)
      EXPECT_EQ(moved[(c + static_cast<std::size_t>(up) * kQualityClasses) % kTableChords], in_c[c]);
  }
}

TEST(PlayerMemory, FadesByHalfInItsHalfLifeAndNeverGrows) {
  EXPECT_EQ(PlayerCounts::fade_of(0), 1);
  EXPECT_FLOAT_EQ(PlayerCounts::fade_of(PlayerCounts::kHalfLife), 0.5f);
  const std::size_t flat_sixth = 8 * kQualityClasses + static_cast<std::size_t>(QualityClass::kMajorSeventh);
  float before = 1e9f;
  for (std::size_t age = 0; age <= 400; age += 20) {
    const auto now =
        scores(flat_sixth_player(PlayerCounts::fade_of(age)), PitchClass(0), chord(0, "maj"), 0)[flat_sixth];
    EXPECT_LE(now, before);
    before = now;
  }
  EXPECT_LT(before, 0.1f) << "after 400 takes it has faded away";
}

TEST(PlayerMemory, ADifferentLaterHabitOvertakesAnOldOne) {
  PlayerCounts counts;
  for (int i = 0; i < 10; ++i)
    counts.add(played(chord(0, "maj"), chord(8, "maj7"), 0), PlayerCounts::fade_of(120));
  for (int i = 0; i < 4; ++i) counts.add(played(chord(0, "maj"), chord(5, "min"), 0), 1);
  const auto now = scores(PlayerMemory(counts), PitchClass(0), chord(0, "maj"), 0);
  EXPECT_GT(now[5 * kQualityClasses + static_cast<std::size_t>(QualityClass::kMinor)],
            now[8 * kQualityClasses + static_cast<std::size_t>(QualityClass::kMajorSeventh)]);
}

TEST(PlayerMemory, LeaningToItMakesItCountForMore) {
  const auto memory = flat_sixth_player();
  const std::size_t flat_sixth = 8 * kQualityClasses + static_cast<std::size_t>(QualityClass::kMajorSeventh);
  const auto ahead = [&](float much) {  // of the best of the others
    auto all = scores(memory, PitchClass(0), chord(0, "maj"), 0, much);
    const float own = std::exchange(all[flat_sixth], -1e9f);
    return own - *std::max_element(all.begin(), all.end());
  };
  EXPECT_GT(ahead(1), 0);
  EXPECT_GT(ahead(PlayerMemory::kLean), ahead(1));
}

TEST(PlayerMemory, ATasteForAQualityDoesNotMoveTheRoots) {
  PlayerCounts counts;  // every chord of the usual roots, but always as a minor seventh
  for (int root = 0; root < 12; ++root) counts.add(played(chord(0, "maj"), chord(root, "min7"), 0), 1);
  ChordScores before{};
  for (std::size_t c = 0; c < kTableChords; ++c) before[c] = -0.01f * static_cast<float>(c % 29);
  ChordsBefore last;
  last.push_back(chord(0, "maj"));
  ChordScores after = before;
  PlayerMemory(counts).add_scores(PitchClass(0), last, PitchClass(0), 1, after);
  const auto of_root = [](const ChordScores& of, std::size_t root) {
    float sum = 0;
    for (std::size_t q = 0; q < kQualityClasses; ++q) sum += std::exp(of[root * kQualityClasses + q]);
    return std::log(sum);
  };
  const auto minor_seventh = static_cast<std::size_t>(QualityClass::kMinorSeventh);
  for (std::size_t root = 0; root < 12; ++root) {
    // The root moves by its own count alone: as much as its plainest quality would move without a taste.
    EXPECT_GT(after[root * kQualityClasses + minor_seventh] - before[root * kQualityClasses + minor_seventh],
              of_root(after, root) - of_root(before, root));
    EXPECT_LT(after[root * kQualityClasses] - before[root * kQualityClasses],
              of_root(after, root) - of_root(before, root));
  }
}

TEST(PlayerMemory, TellsItsChordsAndStepsByTheirShare) {
  PlayerCounts counts;
  for (int i = 0; i < 3; ++i) counts.add(played(chord(0, "maj"), chord(8, "maj7"), 0), 1);
  counts.add(played(chord(8, "maj7"), chord(5, "min"), 0), 1);
  std::array<PlayerCounts::Habit, 5> habits;
  ASSERT_EQ(counts.most_played(habits), 2u);
  EXPECT_EQ(habits[0].chord, seen_from(PitchClass(0), chord(8, "maj7")));
  EXPECT_FLOAT_EQ(habits[0].share, 0.75f);
  EXPECT_FLOAT_EQ(habits[1].share, 0.25f);
  ASSERT_EQ(counts.usual_steps(habits), 2u);
  EXPECT_EQ(habits[0].last, seen_from(PitchClass(0), chord(0, "maj")));
  EXPECT_FLOAT_EQ(habits[0].share, 0.75f);
  EXPECT_EQ(PlayerCounts().most_played(habits), 0u);
  EXPECT_EQ(PlayerCounts().usual_steps(habits), 0u);
}

TEST(PlayerMemory, WhatIsOutOfRangeIsPassedOver) {
  PlayerCounts counts;
  counts.add({156, 156, 156, 12, 1}, 1);
  counts.add({200, 200, 3, 40, 1}, 1);
  EXPECT_TRUE(counts.empty());
  counts.add({156, 156, 3, 40, -5}, 1);
  EXPECT_TRUE(counts.empty());
}

}  // namespace
}  // namespace undersong::harmony
