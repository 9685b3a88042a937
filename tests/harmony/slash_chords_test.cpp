#include "daemon/harmony/slash_chords.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <optional>
#include <random>
#include <string>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

bool is_slash(const Alternative& offered) {
  return offered.chord.bass != offered.chord.root;
}
std::string name(const Alternative& offered) {
  return symbol(offered.chord, offered.root_name);
}

Question asked(int note, std::optional<Key> key, const char* before) {
  Question out;
  out.melody.push_back(Pitch(note));
  out.key = key;
  if (*before) out.previous = parse_chord(before)->chord;
  return out;
}
const Key kC{PitchClass(0), Mode::kMajor};

bool offers(const Question& question, const char* wanted) {
  Alternatives list;
  rank_alternatives(question, nullptr, list);
  return std::any_of(list.begin(), list.end(),
                     [&](const Alternative& offered) { return name(offered) == wanted; });
}

// Calls `each` with many questions and their lists.
template <class Each>
void over_many(Each each) {
  std::mt19937 engine(31);
  const auto upto = [&](int most) { return static_cast<int>(engine() % static_cast<unsigned>(most + 1)); };
  Alternatives list;
  for (int round = 0; round < 1500; ++round) {
    Question question;
    question.melody.push_back(Pitch(60 + upto(24)));
    if (upto(3) == 0) question.melody.push_back(Pitch(60 + upto(24)));
    if (upto(4)) question.key = Key{PitchClass(upto(11)), upto(2) ? Mode::kMajor : Mode::kMinor};
    if (upto(5)) {
      const PitchClass root(upto(11));
      question.previous = Chord{root, Quality(upto(static_cast<int>(chord_vocabulary().size()) - 1)),
                                upto(3) ? root : PitchClass(upto(11))};
    }
    rank_alternatives(question, nullptr, list);
    each(question, list);
  }
}

TEST(SlashChords, AreOfferedInEveryListAndCrowdNone) {
  int lists = 0, early = 0;
  over_many([&](const Question& question, const Alternatives& list) {
    const auto count = std::count_if(list.begin(), list.end(), is_slash);
    EXPECT_LE(count, 6);
    if (question.melody.size() == 1) {
      EXPECT_GE(count, 3);
      ++lists;
      early += std::any_of(list.begin(), list.begin() + 12, is_slash);
    }
    EXPECT_LE(std::count_if(list.begin(), list.begin() + 12, is_slash), 2);
  });
  EXPECT_GE(early * 100, lists * 90);
}

TEST(SlashChords, AnInversionIsOfferedOnlyWhereTheBassStepsOrStays) {
  over_many([](const Question& question, const Alternatives& list) {
    for (const Alternative& offered : list) {
      if (!is_slash(offered) ||
          !row(offered.chord.quality)
               .tones.contains(PitchClass(ascending(offered.chord.root, offered.chord.bass))))
        continue;
      ASSERT_TRUE(question.previous) << name(offered);
      const int up = ascending(question.previous->bass, offered.chord.bass);
      EXPECT_LE(std::min(up, 12 - up), 2) << name(offered);
    }
  });
}

// F/G beside G9sus4 would be one sound under two names.
TEST(SlashChords, NoneStandsBesideTheSameChordUnderAnotherName) {
  over_many([](const Question&, const Alternatives& list) {
    for (const Alternative& slash : list) {
      if (!is_slash(slash)) continue;
      PitchClassSet tones = row(slash.chord.quality).tones.transposed(slash.chord.root.value());
      tones.insert(slash.chord.bass);
      const PitchClassSet over_bass = tones.relative_to(slash.chord.bass);
      for (const Alternative& other : list) {
        if (&other == &slash || other.chord.bass != slash.chord.bass) continue;
        const QualityRow& made = row(other.chord.quality);
        if (!is_slash(other)) {
          EXPECT_FALSE((over_bass - made.tones).empty() && (made.essential - over_bass).empty())
              << name(slash) << " beside " << name(other);
        } else {
          PitchClassSet theirs = made.tones.transposed(other.chord.root.value());
          theirs.insert(other.chord.bass);
          EXPECT_NE(theirs, tones) << name(slash) << " beside " << name(other);
        }
      }
    }
  });
}

TEST(SlashChords, TheirBassIsTheLowestKeyInEveryStyle) {
  Alternatives list;
  const Hands hands;
  for (int note = 64; note < 84; ++note)
    for (int style = 0; style < kStyles; ++style) {
      Question question = asked(note, kC, note % 2 ? "C" : "Am7");
      question.style = static_cast<Style>(style);
      rank_alternatives(question, &hands, list);
      for (const Alternative& offered : list) {
        if (!is_slash(offered)) continue;
        ASSERT_FALSE(offered.voicing.left.empty()) << name(offered);
        EXPECT_EQ(offered.voicing.left.front().pitch_class(), offered.chord.bass) << name(offered);
        EXPECT_EQ(offered.voicing.right.back(), Pitch(note)) << name(offered);
      }
    }
}

// Common practice, no source.
TEST(SlashChords, TheUsualOnesOfAKeyAreThere) {
  EXPECT_TRUE(offers(asked(69, kC, "G"), "F/G"));  // a suspended dominant over the pedal
  EXPECT_TRUE(offers(asked(78, kC, "C"), "D/C"));  // Lydian over the pedal
  EXPECT_TRUE(offers(asked(74, kC, "C"), "G/B"));  // the bass falls by step
  EXPECT_TRUE(offers(asked(67, kC, "F"), "C/E"));  // the same
  const Key a_flat{PitchClass(8), Mode::kMajor};
  EXPECT_TRUE(offers(asked(72, a_flat, "Bbm7"), "Ab/Bb"));
  const Key b_flat{PitchClass(10), Mode::kMajor};
  EXPECT_TRUE(offers(asked(67, b_flat, "F"), "Eb/F"));
}

TEST(SlashChords, TheDegreeOfANoteIsCountedFromTheRootNotFromTheBass) {
  Alternatives list;
  rank_alternatives(asked(69, kC, "G"), nullptr, list);
  const auto f_over_g =
      std::find_if(list.begin(), list.end(), [](const Alternative& each) { return name(each) == "F/G"; });
  ASSERT_NE(f_over_g, list.end());
  EXPECT_EQ(f_over_g->degrees[0], (Degree{3, 0}));
}

}  // namespace
}  // namespace undersong::harmony
