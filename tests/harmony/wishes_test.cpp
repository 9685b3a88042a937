// What the wishes do to the list, over many situations from a fixed seed.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <functional>
#include <numeric>
#include <random>
#include <string>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour_words.h"

namespace undersong::harmony {
namespace {

// A situation at the keyboard: one or two melody notes, with and without a key, after an everyday chord or
// any chord, after none, with and without a phrase.
class Situations {
 public:
  Question next() {
    Question out;
    const int note = 60 + upto(24);
    out.melody.push_back(Pitch(note));
    if (upto(1)) out.melody.push_back(Pitch(note - 1 - upto(11)));
    if (upto(4)) out.key = Key{PitchClass(upto(11)), upto(2) ? Mode::kMajor : Mode::kMinor};
    if (upto(5)) out.previous = chord(out.key);
    if (out.previous)
      for (int i = upto(3); i > 0; --i) out.earlier.push_back(chord(out.key));
    for (int i = upto(1) ? 0 : 1 + upto(6); i > 0; --i) out.phrase.add(PitchClass(upto(11)), 1);
    return out;
  }

 private:
  int upto(int n) { return static_cast<int>(engine_() % static_cast<unsigned>(n + 1)); }
  Chord chord(const std::optional<Key>& key) {
    static constexpr std::array<const char*, 10> kEveryday{"maj",  "min", "7",     "maj7",     "min7",
                                                           "maj9", "9",   "hdim7", "sus4(b7)", "min9"};
    static constexpr std::array<int, 7> kScale{0, 2, 4, 5, 7, 9, 11};
    const PitchClass root = key && upto(3) ? transpose(key->tonic, kScale[static_cast<std::size_t>(upto(6))])
                                           : PitchClass(upto(11));
    const Quality made = upto(4) ? quality(kEveryday[static_cast<std::size_t>(upto(9))])
                                 : Quality(upto(static_cast<int>(chord_vocabulary().size()) - 1));
    return {root, made, root};
  }
  std::mt19937 engine_{77};
};

struct Scale {
  const char* name;
  float Wishes::*wish;
  float Alternative::*value;
};
constexpr std::array<Scale, 2> kScales{
    {{"dark to bright", &Wishes::brighter, &Alternative::dark_bright},
     {"resolved to tense", &Wishes::tenser, &Alternative::resolved_tense}}};

float mean(const Alternatives& list, float Alternative::*value, std::size_t n) {
  float sum = 0;
  for (std::size_t i = 0; i < n; ++i) sum += list[i].*value;
  return sum / static_cast<float>(n);
}

TEST(Wishes, AFullWishMovesTheFirstTwelveByAThirdOfTheListsRangeOrAsFarAsTheyGo) {
  Situations situations;
  Alternatives neutral, wished;
  constexpr int kRounds = 400;
  for (const Scale& scale : kScales)
    for (const float wish : {-1.0f, 1.0f}) {
      double moved_in_all = 0;
      int at_the_end = 0;
      for (int round = 0; round < kRounds; ++round) {
        Question question = situations.next();
        rank_alternatives(question, nullptr, neutral);
        question.wishes.*scale.wish = wish;
        rank_alternatives(question, nullptr, wished);
        float lowest = 2, highest = -2;
        for (const Alternative& offered : neutral) {
          lowest = std::min(lowest, offered.*scale.value);
          highest = std::max(highest, offered.*scale.value);
        }
        const float range = highest - lowest, mean12 = mean(wished, scale.value, 12);
        const float moved = wish * (mean12 - mean(neutral, scale.value, 12)) / range;
        moved_in_all += static_cast<double>(moved);
        if (moved >= 0.35f) continue;
        // The list stood near that end already: its first twelve are now the farthest of all 36.
        ++at_the_end;
        std::vector<float> values;
        for (const Alternative& offered : wished) values.push_back(wish * offered.*scale.value);
        std::sort(values.begin(), values.end(), std::greater<>());
        const float farthest = std::accumulate(values.begin(), values.begin() + 12, 0.0f) / 12;
        EXPECT_GE(wish * mean12, farthest - 0.05f * range)
            << scale.name << ", wish " << wish << ", round " << round << ", moved " << moved;
      }
      EXPECT_GE(moved_in_all / kRounds, 0.4) << scale.name << ", wish " << wish;
      EXPECT_LE(at_the_end, kRounds / 5) << scale.name << ", wish " << wish;
    }
}

TEST(Wishes, ResolvedBringsNoTenseDominantAmongTheFirstFive) {
  Situations situations;
  Alternatives list;
  for (int round = 0; round < 600; ++round) {
    Question question = situations.next();
    question.wishes.tenser = -1;
    rank_alternatives(question, nullptr, list);
    for (std::size_t i = 0; i < 5; ++i) {
      const QualityRow& made = row(list[i].chord.quality);
      if (made.family != Family::kDominant) continue;
      // Under a note foreign to the key, a plain dominant can be among the calmest chords that there are.
      EXPECT_NE(resolved_tense_word(list[i].resolved_tense).view(), "tense")
          << symbol(list[i].chord, list[i].root_name) << " in round " << round;
    }
  }
}

TEST(Wishes, NoWishBringsUpAChordThatClashesWithTheHeldNote) {
  Situations situations;
  Alternatives list;
  for (int round = 0; round < 300; ++round) {
    Question question = situations.next();
    if (question.melody.size() > 1) continue;
    for (const Scale& scale : kScales)
      for (const float wish : {-1.0f, 1.0f}) {
        question.wishes = {};
        question.wishes.*scale.wish = wish;
        rank_alternatives(question, nullptr, list);
        for (std::size_t i = 0; i < 12; ++i) {
          const Chord& chord = list[i].chord;
          const PitchClass held = question.melody[0].pitch_class();
          if (held == chord.bass) continue;  // a note that the bass doubles is at home
          EXPECT_NE(role(chord.quality, ascending(chord.root, held)), Role::kAvoid)
              << symbol(chord, list[i].root_name) << ", " << scale.name << ", wish " << wish;
        }
      }
  }
}

}  // namespace
}  // namespace undersong::harmony
