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
std::vector<PadChord> row_of(const std::vector<const char*>& names, std::optional<Pitch> tune = {}) {
  std::vector<PadChord> out;
  for (const char* name : names) out.push_back({chord(name), tune});
  return out;
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
  const auto chords = row_of({"D:min7", "G:7", "C:maj9"});
  const auto pad = voice_strings(chords, PadStyle::kStill);
  ASSERT_EQ(pad.chords.size(), 3u);
  for (std::size_t i = 0; i < chords.size(); ++i) {
    PitchClassSet has;
    for (Pitch p : pad.chords[i]) has.insert(p.pitch_class());
    const auto seen = has.relative_to(chords[i].chord.root);
    EXPECT_TRUE(seen.contains(PitchClass(3)) || seen.contains(PitchClass(4)));
    EXPECT_TRUE(seen.contains(PitchClass(10)) || seen.contains(PitchClass(11)));
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
  const auto pad = voice_strings(row_of({"C:maj7", "A:min7"}), PadStyle::kStill);
  int held = 0;
  for (std::size_t v = 1; v < kStrings; ++v) held += pad.chords[0][v] == pad.chords[1][v];
  EXPECT_GE(held, 2);
}

TEST(StringPad, NoOtherRowIsCheaper) {
  const std::vector<std::vector<const char*>> rows{
      {"C:maj", "F:maj", "G:7"}, {"Eb:maj7", "C:min7", "Ab:maj7"}, {"G:sus4(b7)", "G:7(b9)", "C:min9"}};
  for (const PadStyle style : {PadStyle::kStill, PadStyle::kMoving, PadStyle::kChorale})
    for (const auto& names : rows) {
      auto chords = row_of(names, Pitch(69));
      if (style == PadStyle::kMoving) {
        chords[1] = chords[0];
        chords[1].second_half = true;
      }
      const auto pad = voice_strings(chords, style);
      // Brute force over all sequences of three layouts.
      const auto a = string_layouts(chords[0].chord), b = string_layouts(chords[1].chord),
                 c = string_layouts(chords[2].chord);
      int least = std::numeric_limits<int>::max();
      for (const auto& x : a)
        for (const auto& y : b) {
          const auto step = step_price(x, y, chords[1].second_half);
          if (!step) continue;
          const int so_far =
              standing_price(x, chords[0], style) + *step + standing_price(y, chords[1], style);
          if (so_far >= least) continue;
          for (const auto& z : c)
            least = std::min(least, so_far + *step_price(y, z, false) + standing_price(z, chords[2], style));
        }
      int found = 0;
      for (std::size_t i = 0; i < 3; ++i) {
        found += standing_price(pad.chords[i], chords[i], style);
        if (i > 0) found += *step_price(pad.chords[i - 1], pad.chords[i], chords[i].second_half);
      }
      EXPECT_EQ(found, least);
    }
}

TEST(StringPad, StaysUnderTheTuneWhereTheRangesAllowIt) {
  for (int tune = 62; tune <= 84; ++tune) {
    const auto pad =
        voice_strings(row_of({"D:min7", "G:7", "C:maj7", "A:7(b9)"}, Pitch(tune)), PadStyle::kStill);
    for (const StringChord& layout : pad.chords) EXPECT_LT(layout[3].value(), tune - 1) << tune;
  }
}

TEST(StringPad, TheCelloIsFreeOfTheBassPlayersNote) {
  const auto chords =
      row_of({"D:min7", "G:7", "C:maj7", "A:min7", "F:maj7", "B:min7(b5)", "E:7", "A:min"}, Pitch(76));
  const auto pad = voice_strings(chords, PadStyle::kStill);
  for (std::size_t i = 0; i < chords.size(); ++i)
    EXPECT_NE(pad.chords[i][0].pitch_class(), chords[i].chord.bass) << i;
}

TEST(StringPad, OneInnerVoiceMovesWithinAChordWhereItsTonesAllowIt) {
  auto chords = row_of({"D:min7", "D:min7", "G:7", "G:7", "C:maj7", "C:maj7"}, Pitch(77));
  for (const std::size_t second : {1u, 3u, 5u}) chords[second].second_half = true;
  const auto pad = voice_strings(chords, PadStyle::kMoving);
  int moved = 0;
  for (const std::size_t second : {1u, 3u, 5u}) {
    EXPECT_EQ(pad.chords[second][0], pad.chords[second - 1][0]);
    EXPECT_EQ(pad.chords[second][3], pad.chords[second - 1][3]);
    const int inner = (pad.chords[second][1] != pad.chords[second - 1][1]) +
                      (pad.chords[second][2] != pad.chords[second - 1][2]);
    EXPECT_LE(inner, 1);
    moved += inner;
  }
  EXPECT_EQ(moved, 3);
}

TEST(StringPad, NothingGivesNothing) {
  EXPECT_TRUE(voice_strings({}, PadStyle::kStill).chords.empty());
}

}  // namespace
}  // namespace undersong::harmony
