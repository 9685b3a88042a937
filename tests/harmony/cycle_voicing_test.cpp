#include "daemon/harmony/cycle_voicing.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <limits>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/voicing_price.h"

namespace undersong::harmony {
namespace {

Chord chord(const char* text) {
  return parse_harte(text)->chord;
}

TEST(CycleVoicing, CostsAsLittleAsAnyRowOfItsLayoutsByBruteForce) {
  const std::vector<std::vector<Chord>> cycles{{chord("D:min7"), chord("G:7"), chord("C:maj7")},
                                               {chord("A:min"), chord("F:maj9"), chord("E:7(b9)")},
                                               {chord("F:maj7"), chord("F:min7")},
                                               {chord("C:maj")}};
  const std::vector<Pitch> tops{Pitch(76), Pitch(74), Pitch(71)};
  for (const auto& chords : cycles) {
    const auto lists = cycle_layouts(chords, tops);
    int least = std::numeric_limits<int>::max();
    std::vector<std::size_t> at(chords.size(), 0);
    for (;;) {
      std::vector<Voicing> row;
      for (std::size_t i = 0; i < chords.size(); ++i) row.push_back(lists[i][at[i]]);
      least = std::min(least, cycle_price(row));
      std::size_t i = 0;
      while (i < at.size() && ++at[i] == lists[i].size()) at[i++] = 0;
      if (i == at.size()) break;
    }
    const auto found = voice_cycle(chords, tops);
    EXPECT_EQ(found.price, least);
    EXPECT_EQ(cycle_price(found.voicings), least);
  }
}

TEST(CycleVoicing, KeepsTheNoteOnTopAndTheBassAndTheHandsPlayable) {
  std::vector<Chord> chords;
  std::vector<Pitch> tops;
  for (std::size_t row = 0; row < chord_vocabulary().size(); ++row) {
    const PitchClass root(static_cast<int>(5 * row));
    chords.push_back({root, Quality(static_cast<int>(row)), root});
    tops.push_back(Pitch(67 + static_cast<int>(row * 7 % 15)));
  }
  const auto found = voice_cycle(chords, tops);
  ASSERT_EQ(found.voicings.size(), chords.size());
  for (std::size_t i = 0; i < chords.size(); ++i) {
    const Voicing& voicing = found.voicings[i];
    ASSERT_FALSE(voicing.left.empty());
    ASSERT_FALSE(voicing.right.empty());
    EXPECT_EQ(voicing.right.back(), tops[i]);
    EXPECT_EQ(voicing.left[0].pitch_class(), chords[i].bass);
    EXPECT_LE(voicing.left.back().value() - voicing.left[0].value(), kHandSpan);
    EXPECT_LE(voicing.right.back().value() - voicing.right[0].value(), kHandSpan);
  }
}

// Every quality over every bass tone of its own, under every note of two octaves, with all layouts that a
// proposal may choose among.
TEST(CycleVoicing, NoLayoutHoldsAToneThatItsSymbolDoesNotName) {
  std::size_t layouts = 0;
  for (std::size_t q = 0; q < chord_vocabulary().size(); ++q)
    for (int top = 60; top < 84; ++top) {
      const PitchClass root(static_cast<int>(q * 5 % 12));
      const auto tones = chord_vocabulary()[q].tones.transposed(root.value());
      for (int bass = 0; bass < 12; ++bass) {
        if (!tones.contains(PitchClass(bass)) || (bass != root.value() && top % 4 != 0)) continue;
        const std::vector<Chord> chords{{root, Quality(static_cast<int>(q)), PitchClass(bass)},
                                        chord("C:maj7"),
                                        {root, Quality(static_cast<int>(q)), PitchClass(bass)}};
        const std::vector<Pitch> tops{Pitch(top), Pitch(76), Pitch(top)};
        const auto lists = cycle_layouts(chords, tops);
        for (const std::size_t i : {0u, 2u})
          for (const Voicing& voicing : lists[i]) {
            ++layouts;
            for (const auto& hand : {voicing.left, voicing.right})
              for (const Pitch key : hand)
                EXPECT_TRUE(key == tops[i] || tones.contains(key.pitch_class()))
                    << chord_vocabulary()[q].harte << " under " << top << ": " << key.value();
          }
      }
    }
  EXPECT_GT(layouts, 10'000u);
}

TEST(CycleVoicing, OverAPedalTheBassKeyStaysAndNoRowOfItsLayoutsCostsLessByBruteForce) {
  const std::vector<std::vector<Chord>> cycles{{chord("C:maj7"), chord("D:min7/b7"), chord("F:maj/5")},
                                               {chord("A:min"), chord("F:maj7/3"), chord("E:7(b9)/4")},
                                               {chord("Db:maj7/7"), chord("C:7")}};
  const std::vector<Pitch> tops{Pitch(76), Pitch(74), Pitch(71)};
  for (const auto& chords : cycles) {
    const auto found = voice_cycle_over_pedal(chords, tops);
    ASSERT_EQ(found.voicings.size(), chords.size());
    const Pitch pedal = found.voicings[0].left[0];
    EXPECT_EQ(pedal.pitch_class(), chords[0].bass);
    for (std::size_t i = 0; i < chords.size(); ++i) {
      EXPECT_EQ(found.voicings[i].left[0], pedal);
      EXPECT_EQ(found.voicings[i].right.back(), tops[i]);
      EXPECT_LE(found.voicings[i].left.back().value() - pedal.value(), kHandSpan);
      const auto tones = row(chords[i].quality).tones.transposed(chords[i].root.value());
      for (const auto& hand : {found.voicings[i].left, found.voicings[i].right})
        for (const Pitch key : hand)
          EXPECT_TRUE(key == pedal || key == tops[i] || tones.contains(key.pitch_class())) << key.value();
    }
    int least = std::numeric_limits<int>::max();
    for (int key = kLowestBass; key <= kHighestBass; ++key) {
      if (PitchClass(key) != chords[0].bass) continue;
      const auto lists = pedal_layouts(chords, tops, Pitch(key));
      if (std::any_of(lists.begin(), lists.end(), [](const auto& list) { return list.empty(); })) continue;
      std::vector<std::size_t> at(chords.size(), 0);
      for (;;) {
        std::vector<Voicing> row;
        for (std::size_t i = 0; i < chords.size(); ++i) row.push_back(lists[i][at[i]]);
        least = std::min(least, cycle_price(row));
        std::size_t i = 0;
        while (i < at.size() && ++at[i] == lists[i].size()) at[i++] = 0;
        if (i == at.size()) break;
      }
    }
    EXPECT_EQ(found.price, least);
  }
}

TEST(CycleVoicing, MovesLessThanVoicingEachChordByItself) {
  const std::vector<Chord> chords{chord("C:maj7"), chord("A:min7"), chord("D:min7"), chord("G:7")};
  const std::vector<Pitch> tops(4, Pitch(76));
  std::vector<Voicing> alone;
  for (const Chord& c : chords) alone.push_back(voice(c, {&tops[0], 1}, Hands()));
  EXPECT_LE(voice_cycle(chords, tops).price, cycle_price(alone));
}

TEST(CycleVoicing, NoChordsGiveNoVoicing) {
  EXPECT_TRUE(voice_cycle({}, {}).voicings.empty());
}

}  // namespace
}  // namespace undersong::harmony
