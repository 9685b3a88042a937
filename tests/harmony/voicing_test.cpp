#include "daemon/harmony/voicing.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <set>
#include <string>
#include <vector>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/voicing_search.h"

namespace undersong::harmony {
namespace {

Chord chord(int root, const char* harte) {
  return {PitchClass(root), quality(harte), PitchClass(root)};
}
std::vector<Pitch> keys(std::initializer_list<int> numbers) {
  std::vector<Pitch> out;
  for (int number : numbers) out.emplace_back(number);
  return out;
}
std::vector<int> all(const Voicing& voicing) {
  std::vector<int> out;
  for (Pitch key : voicing.left) out.push_back(key.value());
  for (Pitch key : voicing.right) out.push_back(key.value());
  return out;
}
std::vector<int> hand(const Hand& hand) {
  std::vector<int> out;
  for (Pitch key : hand) out.push_back(key.value());
  return out;
}

class Random {
 public:
  explicit Random(std::uint32_t seed) : seed_(seed) {}
  int below(int limit) { return static_cast<int>((seed_ = seed_ * 1664525u + 1013904223u) >> 8) % limit; }
  Chord chord() {
    const PitchClass root(below(12));
    return {root, Quality(below(static_cast<int>(chord_vocabulary().size()))),
            below(4) ? root : PitchClass(below(12))};
  }
  std::vector<Pitch> melody() {
    std::vector<Pitch> out{Pitch(52 + below(44))};
    if (below(3) == 0) out.emplace_back(out[0].value() - 1 - below(14));
    return out;
  }
  std::vector<Pitch> held() {
    std::vector<Pitch> out;
    for (int n = below(9); n > 0; --n) out.emplace_back(28 + below(64));
    return out;
  }

 private:
  std::uint32_t seed_;
};

// Every assignment of keys to fingers, by recursion. All keys are taken. If there are enough fingers, no
// finger takes two keys; otherwise no finger is idle.
int least_motion(const std::vector<int>& keys, const std::vector<int>& fingers, std::size_t i,
                 std::vector<int>& taken) {
  if (i == keys.size()) {
    const bool idle = std::count(taken.begin(), taken.end(), 0) > 0;
    return keys.size() > fingers.size() && idle ? 1 << 20 : 0;
  }
  int best = 1 << 20;
  for (std::size_t j = 0; j < fingers.size(); ++j) {
    if (keys.size() <= fingers.size() && taken[j]) continue;
    ++taken[j];
    best = std::min(best, std::abs(keys[i] - fingers[j]) + least_motion(keys, fingers, i + 1, taken));
    --taken[j];
  }
  return best;
}
TEST(Hands, MotionIsTheLeastOverAllAssignments) {
  Random random(3);
  for (int i = 0; i < 600; ++i) {
    std::set<int> wanted, held;
    for (int n = 1 + random.below(5); n > 0; --n) wanted.insert(40 + random.below(40));
    for (int n = 1 + random.below(5); n > 0; --n) held.insert(40 + random.below(40));
    std::vector<Pitch> fingers;
    for (int key : held) fingers.emplace_back(key);
    if (*held.rbegin() - *held.begin() <= kSmallReach) continue;  // one hand: the other one rests and counts
    const std::vector<int> to(wanted.begin(), wanted.end()), from(held.begin(), held.end());
    std::vector<int> taken(from.size());
    EXPECT_EQ(Hands(fingers).motion(to), least_motion(to, from, 0, taken));
  }
}
// What a player is told counts the fingers that are down, and no others.
TEST(Hands, KeysThatNoFingerIsDownForCostNoMotion) {
  const std::vector<int> chord{48, 55, 64, 67, 72};
  EXPECT_EQ(Hands(keys({72})).moved(chord), 0) << "the melody alone is held, the left hand is free";
  EXPECT_EQ(Hands(keys({67, 72})).moved(chord), 0);
  EXPECT_EQ(Hands(keys({66, 72})).moved(chord), 1);
  EXPECT_EQ(Hands().moved(chord), 0) << "nothing is held";
  Random random(23);
  for (int i = 0; i < 400; ++i) {
    std::set<int> wanted, held;
    for (int n = 1 + random.below(6); n > 0; --n) wanted.insert(40 + random.below(40));
    for (int n = 1 + random.below(6); n > 0; --n) held.insert(40 + random.below(40));
    std::vector<Pitch> fingers;
    for (int key : held) fingers.emplace_back(key);
    // Of the longer row some are left out.
    const bool more_keys = wanted.size() > held.size();
    const std::vector<int> shorter(more_keys ? held.begin() : wanted.begin(),
                                   more_keys ? held.end() : wanted.end()),
        longer(more_keys ? wanted.begin() : held.begin(), more_keys ? wanted.end() : held.end());
    std::vector<int> taken(longer.size());
    EXPECT_EQ(Hands(fingers).moved(std::vector<int>(wanted.begin(), wanted.end())),
              least_motion(shorter, longer, 0, taken));
  }
}
TEST(Hands, OneFingerDoesNotServeTwoKeysWhileAnotherIsFree) {
  const Hands hands(keys({60, 80}));
  const std::vector<int> to{59, 61};
  EXPECT_EQ(hands.way(59) + hands.way(61), 2) << "nearest keys alone would say so";
  EXPECT_EQ(hands.motion(to), 1 + 19);
}

// The cheapest layout, found by trying all places of bass and inner tones.
class Enumeration {
 public:
  Enumeration(const Chord& chord, const Keys& melody, const Hands& hands, int least_gap)
      : chord_(chord), melody_(melody), hands_(hands), least_gap_(least_gap) {}
  int cheapest(std::vector<int> tones) {
    for (;;) {
      best_ = kUnplayable;
      for (int bass = kLowestBass; bass <= kHighestBass && bass < melody_[0]; ++bass) {
        if (PitchClass(bass) != chord_.bass) continue;
        std::vector<int> keys{bass};
        for (int note : melody_) keys.push_back(note);
        place(tones, 0, bass, keys);
      }
      if (best_ < kUnplayable || tones.empty()) return best_;
      tones.pop_back();
    }
  }

 private:
  void place(const std::vector<int>& tones, std::size_t i, int bass, std::vector<int>& keys) {
    if (i == tones.size()) {
      std::vector<int> sorted = keys;
      std::sort(sorted.begin(), sorted.end());
      Keys made;
      for (int key : sorted) made.push_back(key);
      for (std::size_t n = 1; n < made.size(); ++n)
        if (n + melody_.size() <= made.size() && made[n] - made[n - 1] < least_gap_) return;
      best_ = std::min(best_, price(made, hands_));
      return;
    }
    for (int key = std::max(kLowestInner, bass + 1); key < melody_.back(); ++key) {
      if (PitchClass(key).value() != tones[i] || std::find(keys.begin(), keys.end(), key) != keys.end())
        continue;
      keys.push_back(key);
      place(tones, i + 1, bass, keys);
      keys.pop_back();
    }
  }
  const Chord& chord_;
  const Keys& melody_;
  const Hands& hands_;
  int least_gap_;
  int best_ = kUnplayable;
};
TEST(Voicing, IsNeverWorseThanEnumerationInTenThousandCases) {
  Random random(11);
  int found = 0;
  for (int i = 0; i < 10000; ++i) {
    const Chord wanted = random.chord();
    const auto melody = random.melody();
    const Hands hands(random.held());
    const Keys kept = kept_melody(melody);
    const auto tones = inner_tones(wanted, present_in(wanted, kept));
    const int gap = i % 4 == 0 ? 5 : 0;
    const int least = Enumeration(wanted, kept, hands, gap).cheapest({tones.begin(), tones.end()});
    const Found layout = search(wanted, Room(kept, hands), tones, gap);
    const Keys& made = layout.keys;
    ASSERT_EQ(layout.split_at, split(made, hands.reach()));
    ASSERT_EQ(layout.motion, made.empty() ? 0 : hands.motion({made.begin(), made.size()}));
    ASSERT_EQ(made.empty() ? kUnplayable : price(made, hands), least) << "case " << i;
    found += !made.empty();
  }
  EXPECT_GT(found, 9000);
}

void expect_playable(const Voicing& voicing, const std::vector<Pitch>& melody, const std::string& what) {
  const auto sounding = all(voicing);
  EXPECT_EQ(sounding.back(), std::max_element(melody.begin(), melody.end())->value()) << what;
  for (std::size_t i = 1; i < sounding.size(); ++i) EXPECT_LT(sounding[i - 1], sounding[i]) << what;
  for (const Hand& one : {voicing.left, voicing.right}) {
    EXPECT_LE(one.size(), static_cast<std::size_t>(kNotesInHand)) << what;
    if (!one.empty()) {
      EXPECT_LE(one.back().value() - one.front().value(), kHandSpan) << what;
    }
  }
}
TEST(Voicing, EveryStyleIsPlayableKeepsTheMelodyAndMovesAsItSays) {
  Random random(5);
  std::array<int, kStyles> offered{};
  for (int i = 0; i < 4000; ++i) {
    const Chord wanted = random.chord();
    const auto melody = random.melody();
    const Hands hands(random.held());
    const Keys kept = kept_melody(melody);
    for (int s = 0; s < kStyles; ++s) {
      const auto made = voice(wanted, melody, hands, static_cast<Style>(s));
      if (!made) continue;
      ++offered[static_cast<std::size_t>(s)];
      const std::string what(name(static_cast<Style>(s)));
      expect_playable(*made, melody, what);
      const auto sounding = all(*made);
      for (int note : kept) EXPECT_TRUE(std::count(sounding.begin(), sounding.end(), note)) << what;
      EXPECT_EQ(made->hands_move, std::min(255, hands.moved(sounding))) << what;
    }
  }
  for (int s = 0; s < kStyles; ++s)
    EXPECT_GT(offered[static_cast<std::size_t>(s)], 200) << name(static_cast<Style>(s));
}
TEST(Voicing, HoldsThirdAndSeventhAndClearLowIntervalsWhereTheMelodyLeavesRoom) {
  const Hands hands;
  for (std::size_t q = 0; q < chord_vocabulary().size(); ++q)
    for (int root = 0; root < 12; ++root)
      for (int note = 67; note < 84; ++note) {
        const Chord wanted{PitchClass(root), Quality(static_cast<int>(q)), PitchClass(root)};
        const std::vector<Pitch> melody{Pitch(note)};
        const auto sounding = all(voice(wanted, melody, hands));
        const auto has = [&](int interval) {
          return std::any_of(sounding.begin(), sounding.end(),
                             [&](int key) { return ascending(wanted.root, PitchClass(key)) == interval; });
        };
        EXPECT_EQ(PitchClass(sounding[0]), wanted.bass);
        const auto& made = chord_vocabulary()[q];
        for (const Degree degree : made.degrees) {
          if (degree.number != 3 && degree.number != 7) continue;
          EXPECT_TRUE(has(semitones(degree) % 12)) << text(degree) << " of " << made.harte;
        }
        for (std::size_t i = 1; i < sounding.size(); ++i) {
          if (sounding[i] >= 48) break;
          EXPECT_GE(sounding[i] - sounding[i - 1], 5)  // common practice: below C3 a fourth at least
              << made.harte << " under " << note;
        }
      }
}

// Common practice, no source: what textbooks write for these chords.
TEST(Voicing, TextbookStylesAreAsTextbooksWriteThem) {
  const Hands hands;
  // Dm7 with C above: 3 5 7 9 is F A C E, 7 9 3 5 is C E F A.
  const auto a = voice(chord(2, "min7"), keys({74}), hands, Style::kRootlessA);
  ASSERT_TRUE(a);
  EXPECT_EQ(hand(a->left), (std::vector<int>{53, 57, 60, 64}));
  const auto b = voice(chord(2, "min7"), keys({74}), hands, Style::kRootlessB);
  ASSERT_TRUE(b);
  EXPECT_EQ(hand(b->left), (std::vector<int>{48, 52, 53, 57}));
  // G13: the thirteenth stands for the fifth: F A B E.
  const auto g13 = voice(chord(7, "9(13)"), keys({79}), hands, Style::kRootlessB);
  ASSERT_TRUE(g13);
  EXPECT_EQ(hand(g13->left), (std::vector<int>{53, 57, 59, 64}));
  // Cmaj7 under G: close is G E C B; drop 2 puts the E an octave down.
  const auto drop = voice(chord(0, "maj7"), keys({67}), hands, Style::kDrop2);
  ASSERT_TRUE(drop);
  EXPECT_EQ(all(*drop), (std::vector<int>{52, 59, 60, 67}));
  const auto block = voice(chord(0, "maj7"), keys({79}), hands, Style::kBlock);
  ASSERT_TRUE(block);
  EXPECT_EQ(hand(block->left), (std::vector<int>{67}));
  EXPECT_EQ(hand(block->right), (std::vector<int>{71, 72, 76, 79}));
  // Dm11 in fourths under A, with at most one major third, over D.
  const auto fourths = voice(chord(2, "min9(11)"), keys({69}), hands, Style::kQuartal);
  ASSERT_TRUE(fourths);
  const auto stack = all(*fourths);
  int thirds = 0;
  for (std::size_t i = 2; i < stack.size(); ++i) {
    const int gap = stack[i] - stack[i - 1];
    EXPECT_TRUE(gap >= 4 && gap <= 6);
    thirds += gap == 4;
  }
  EXPECT_LE(thirds, 1);
  EXPECT_EQ(PitchClass(stack[0]), PitchClass(2));
  // G7 under B: the shell is G and F (the third is the melody).
  const auto shell = voice(chord(7, "7"), keys({71}), hands, Style::kShell);
  ASSERT_TRUE(shell);
  std::set<int> tones;
  for (int key : all(*shell)) tones.insert(key % 12);
  EXPECT_EQ(tones, (std::set<int>{5, 7, 11}));
  const auto spread = voice(chord(0, "maj9"), keys({74}), hands, Style::kSpread);
  ASSERT_TRUE(spread);
  const auto wide = all(*spread);
  for (std::size_t i = 1; i < wide.size(); ++i) EXPECT_GE(wide[i] - wide[i - 1], 5);
}
TEST(Voicing, StylesThatAChordCannotHaveAreNotOffered) {
  const Hands hands;
  EXPECT_FALSE(voice(chord(0, "maj"), keys({72}), hands, Style::kRootlessA)) << "no seventh";
  EXPECT_FALSE(voice(chord(0, "maj7"), keys({50}), hands, Style::kRootlessA)) << "no room";
  EXPECT_FALSE(voice(chord(0, "5"), keys({72}), hands, Style::kBlock)) << "no third";
  for (int s = 0; s < kStyles; ++s)
    EXPECT_FALSE(voice(chord(0, "maj7"), {}, hands, static_cast<Style>(s))) << "no melody";
}
TEST(VoicingChoice, OfferTheBestFirstAndUpToThreeOthersAllDifferent) {
  Random random(17);
  int four = 0;
  for (int i = 0; i < 2000; ++i) {
    const Chord wanted = random.chord();
    const auto melody = random.melody();
    const Hands hands(random.held());
    const auto offered = voicings(wanted, melody, hands);
    ASSERT_FALSE(offered.empty());
    EXPECT_EQ(offered[0].style, Style::kOpen);
    EXPECT_EQ(offered[0].voicing, voice(wanted, melody, hands));
    std::set<std::vector<int>> seen;
    for (const auto& one : offered) EXPECT_TRUE(seen.insert(all(one.voicing)).second) << name(one.style);
    four += offered.size() == 4;
  }
  EXPECT_GT(four, 1000);
}

}  // namespace
}  // namespace undersong::harmony
