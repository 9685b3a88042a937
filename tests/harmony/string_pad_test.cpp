#include "daemon/harmony/string_pad.h"

#include <gtest/gtest.h>

#include <limits>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// The lowest string of cello, viola and violins (C2, C3, G3), and the compass that any orchestration textbook
// calls easy for players of all of them: two octaves and a fifth.
constexpr int kOpenStrings[] = {36, 48, 55, 55};
constexpr int kEasyCompass = 31;

Chord chord(const char* text) {
  return parse_harte(text)->chord;
}

TEST(StringPad, EveryChordOfTheVocabularyHasALayoutThatFollowsTheRules) {
  for (std::size_t i = 0; i < chord_vocabulary().size(); ++i)
    for (int root = 0; root < 12; ++root) {
      const Chord made{PitchClass(root), Quality(static_cast<int>(i)), PitchClass(root)};
      const auto layouts = string_layouts(made);
      ASSERT_FALSE(layouts.empty()) << symbol(made, spell_within(made.root, -5));
      for (const StringChord& layout : layouts)
        for (std::size_t v = 0; v < kStrings; ++v) {
          EXPECT_GE(layout[v], Pitch(kOpenStrings[v]));
          EXPECT_LE(layout[v], Pitch(kOpenStrings[v] + kEasyCompass));
          if (v > 0) {
            EXPECT_LT(layout[v - 1], layout[v]);
          }
        }
    }
}

TEST(StringPad, ThirdAndSeventhAreThere) {
  const std::vector<Chord> chords{chord("D:min7"), chord("G:7"), chord("C:maj9")};
  const auto pad = voice_strings(chords);
  ASSERT_EQ(pad.chords.size(), 3u);
  for (std::size_t i = 0; i < chords.size(); ++i) {
    PitchClassSet has;
    for (Pitch p : pad.chords[i]) has.insert(p.pitch_class());
    const auto seen = has.relative_to(chords[i].root);
    EXPECT_TRUE(seen.contains(PitchClass(3)) || seen.contains(PitchClass(4)));
    EXPECT_TRUE(seen.contains(PitchClass(10)) || seen.contains(PitchClass(11)));
    EXPECT_EQ(pad.chords[i][0].pitch_class(), chords[i].root);
  }
}

// Source: any harmony textbook: C and G moving up together to D and A are parallel fifths, contrary motion is
// not.
TEST(StringPad, ParallelsAreCounted) {
  const StringChord before{Pitch(48), Pitch(55), Pitch(64), Pitch(72)};
  EXPECT_EQ(parallels(before, {Pitch(50), Pitch(57), Pitch(65), Pitch(74)}),
            2);  // a fifth and an octave; G to C is a fourth
  EXPECT_EQ(parallels(before, {Pitch(48), Pitch(57), Pitch(65), Pitch(72)}), 0);
  EXPECT_EQ(parallels(before, {Pitch(47), Pitch(55), Pitch(62), Pitch(74)}), 0);
}

TEST(StringPad, CommonTonesAreHeld) {
  const auto pad = voice_strings(std::vector<Chord>{chord("C:maj7"), chord("A:min7")});
  int held = 0;
  for (std::size_t v = 1; v < kStrings; ++v) held += pad.chords[0][v] == pad.chords[1][v];
  EXPECT_GE(held, 2);
}

TEST(StringPad, NoOtherRowIsCheaper) {
  const std::vector<std::vector<const char*>> rows{
      {"C:maj", "F:maj", "G:7"}, {"Eb:maj7", "C:min7", "Ab:maj7"}, {"G:sus4(b7)", "G:7(b9)", "C:min9"}};
  for (const auto& names : rows) {
    std::vector<Chord> chords;
    for (const char* name : names) chords.push_back(chord(name));
    const auto pad = voice_strings(chords);
    // Brute force over all sequences of three layouts.
    const auto a = string_layouts(chords[0]), b = string_layouts(chords[1]), c = string_layouts(chords[2]);
    const StringChord middle{Pitch(43), Pitch(58), Pitch(64), Pitch(69)};
    const auto price = [](const StringChord& x, const StringChord& y) {
      return motion(x, y) + kParallel * parallels(x, y);
    };
    int least = std::numeric_limits<int>::max();
    for (const auto& x : a)
      for (const auto& y : b) {
        const int so_far = motion(middle, x) / 4 + price(x, y);
        if (so_far >= least) continue;
        for (const auto& z : c) least = std::min(least, so_far + price(y, z));
      }
    EXPECT_EQ(motion(middle, pad.chords[0]) / 4 + pad.motion + kParallel * pad.parallels, least);
  }
}

TEST(StringPad, NothingGivesNothing) {
  EXPECT_TRUE(voice_strings({}).chords.empty());
}

}  // namespace
}  // namespace undersong::harmony
