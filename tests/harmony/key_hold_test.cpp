// Which of the network's keys is followed, and when.
#include "daemon/harmony/key_hold.h"

#include <gtest/gtest.h>

#include <random>
#include <vector>

#include "daemon/harmony/ear.h"

namespace undersong::harmony {
namespace {

enum Kind { kMajor, kMinor, kDominant, kDiminished };

KeyChords chord(int root, Kind kind) {
  KeyChords out{};
  out[static_cast<std::size_t>(kind)][static_cast<std::size_t>(root % 12)] = 1;
  return out;
}
// Log-probabilities that favour one key by `by`.
std::array<float, 24> leaning(int key, float by) {
  std::array<float, 24> out;
  out.fill(-4.0F);
  out[static_cast<std::size_t>(key)] = -4.0F + by;
  return out;
}
constexpr int kMinorKey = 12;

TEST(KeyHold, TheFirstBeliefIsTheFirstKey) {
  KeyHold hold;
  EXPECT_EQ(hold.key(), -1);
  EXPECT_TRUE(hold.judge(chord(0, kMajor), 0.5F, leaning(7, 0.1F)));
  EXPECT_EQ(hold.key(), 7);
}

TEST(KeyHold, ASmallLeadIsNotFollowedAndAClearOneIs) {
  KeyHold hold;
  hold.judge(chord(0, kMajor), 1, leaning(0, 3));
  for (const int root : {5, 7, 0, 5, 7}) hold.judge(chord(root, kMajor), 1, leaning(0, 3));
  EXPECT_FALSE(hold.judge(chord(0, kMajor), 1, leaning(kMinorKey + 9, 0.5F)));
  EXPECT_TRUE(hold.judge(chord(9, kMinor), 1, leaning(kMinorKey + 9, 2)));
  EXPECT_EQ(hold.key(), kMinorKey + 9);
}

// Twelve roots in a row lie in no key: whatever the network favours, the key in force stays.
TEST(KeyHold, WhileRootsAreTriedOutTheKeyStays) {
  std::mt19937 rng(4);
  KeyHold hold;
  for (int i = 0; i < 8; ++i)
    hold.judge(chord(std::array{0, 9, 5, 7}[static_cast<std::size_t>(i % 4)], i % 4 == 1 ? kMinor : kMajor),
               2, leaning(0, 3));
  int changes = 0;
  for (int round = 0; round < 4; ++round)
    for (int down = 0; down < 12; ++down) {
      const int root = (12 - down) % 12;
      const bool changed = hold.judge(chord(root, down % 2 == 0 ? kMajor : kMinor), 2.4F,
                                      leaning(static_cast<int>(rng() % 24), 4));
      changes += changed && (round > 0 || down > 6);  // before that, the chords of the loop still count
    }
  EXPECT_EQ(changes, 0);
}

TEST(KeyHold, ALoopThatMovesUpAToneIsHeardInItsSecondRoundAlthoughTheBeliefLags) {
  KeyHold hold;
  const std::vector<std::pair<int, Kind>> loop{{0, kMajor}, {9, kMinor}, {5, kMajor}, {7, kMajor}};
  for (int i = 0; i < 8; ++i)
    hold.judge(
        chord(loop[static_cast<std::size_t>(i % 4)].first, loop[static_cast<std::size_t>(i % 4)].second), 2,
        leaning(0, 3));
  int chords = 0;
  while (hold.key() != 2 && chords < 20) {
    const auto& [root, kind] = loop[static_cast<std::size_t>(chords % 4)];
    auto belief = leaning(0, 3);
    belief[2] += 1;  // behind the key in force, but ahead of the others
    hold.judge(chord(root + 2, kind), 2, belief);
    ++chords;
  }
  EXPECT_LE(chords, 7);
}

TEST(KeyHold, ANameOnTheWayToTheNextCountsForNothing) {
  KeyHold hold;
  hold.judge(chord(0, kMajor), 2, leaning(0, 3));
  for (const int root : {5, 7, 0, 5, 7, 0}) {
    hold.judge(chord(root, kMajor), 2, leaning(0, 3));
    hold.judge(chord(root + 6, kMajor), 0.05F, leaning(0, 3));  // a slip
  }
  EXPECT_TRUE(hold.judge(chord(5, kMajor), 2, leaning(5, 3)));
}

// The whole ear: block chords on twelve roots under one held note, as a player tries them.
TEST(KeyHold, TheEarKeepsItsKeyWhileTwelveRootsAreTriedUnderAHeldNote) {
  for (const int top : {69, 74, 79}) {
    Ear ear;
    Micros at{1'000'000};
    ear.note_on(at, Pitch(top), Velocity(84));
    int changes = 0;
    bool first = true;
    const auto listen = [&] {
      if (ear.take_key_change()) changes += !std::exchange(first, false);
      while (ear.take_melody()) {
      }
    };
    for (int down = 0; down < 24; ++down) {
      const int root = (top + 120 - down) % 12;
      std::vector<int> keys{36 + root};
      for (const int tone : {down % 3 == 0 ? 4 : 3, 7, 10}) keys.push_back(55 + (root + tone + 5) % 12);
      for (const int key : keys) {
        for (auto due = ear.next_deadline(); due && *due <= at; due = ear.next_deadline()) ear.advance(*due);
        ear.note_on(at, Pitch(key), Velocity(66));
        at += Micros{3000};
      }
      listen();
      for (const int key : keys) ear.note_off(at + Micros{2'300'000}, Pitch(key));
      at += Micros{2'388'000};
      listen();
    }
    EXPECT_LE(changes, 3) << "under " << top;  // in 57 seconds
  }
}

}  // namespace
}  // namespace undersong::harmony
