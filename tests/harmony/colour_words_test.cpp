#include "daemon/harmony/colour_words.h"

#include <gtest/gtest.h>

#include <map>
#include <string>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/key.h"

namespace undersong::harmony {
namespace {

// Each word once, in order, as the value goes from one end to the other.
template <class WordOf>
std::vector<std::string> words_from(float low, float high, WordOf word_of) {
  std::vector<std::string> out;
  for (int i = 0; i <= 2000; ++i) {
    const std::string now(word_of(low + (high - low) * static_cast<float>(i) / 2000).view());
    if (out.empty() || out.back() != now) out.push_back(now);
  }
  return out;
}

TEST(ColourWords, GoFromOneEndToTheOther) {
  EXPECT_EQ(words_from(-1, 1, dark_bright_word),
            (std::vector<std::string>{"very dark", "dark", "neutral", "bright", "very bright"}));
  EXPECT_EQ(words_from(0, 1, resolved_tense_word),
            (std::vector<std::string>{"at rest", "mild", "leaning", "tense"}));
}

TEST(ColourWords, ChangeAtTheirLimits) {
  EXPECT_EQ(dark_bright_word(-.4f).view(), "dark");
  EXPECT_EQ(dark_bright_word(-.41f).view(), "very dark");
  EXPECT_EQ(dark_bright_word(0).view(), "neutral");
  EXPECT_EQ(dark_bright_word(.15f).view(), "bright");
  EXPECT_EQ(dark_bright_word(.4f).view(), "very bright");
  EXPECT_EQ(resolved_tense_word(.499f).view(), "at rest");
  EXPECT_EQ(resolved_tense_word(.5f).view(), "mild");
  EXPECT_EQ(resolved_tense_word(.62f).view(), "leaning");
  EXPECT_EQ(resolved_tense_word(.72f).view(), "tense");
}

std::string tension_of(const char* harte, const char* key) {
  return std::string(
      resolved_tense_word(colour(parse_harte(harte)->chord, parse_key(key)).resolved_tense).view());
}
TEST(ColourWords, DivideTheChordsOfAKeyAsMusiciansDo) {
  for (const char* chord : {"C:maj", "C:maj7", "C:maj6", "F:maj", "F:maj7"})
    EXPECT_EQ(tension_of(chord, "C"), "at rest") << chord;
  for (const char* chord : {"D:min7", "A:min7", "E:min7", "G:sus4(b7,9)"})
    EXPECT_EQ(tension_of(chord, "C"), "mild") << chord;
  for (const char* chord : {"G:7", "G:9(13)"}) EXPECT_EQ(tension_of(chord, "C"), "leaning") << chord;
  for (const char* chord : {"G:7(*5,b9,#9,#11,b13)", "G:7(b9,b13)", "Db:7", "F#:min6"})
    EXPECT_EQ(tension_of(chord, "C"), "tense") << chord;
}

TEST(ColourWords, EachIsUsedForAFairShareOfTheChords) {
  for (const auto key : {parse_key("C"), parse_key("Am"), parse_key("Gb")}) {
    std::map<std::string, int> used;
    int all = 0;
    for (std::size_t i = 0; i < chord_vocabulary().size(); ++i)
      for (int root = 0; root < 12; ++root, ++all) {
        const Colour made = colour({PitchClass(root), Quality(static_cast<int>(i)), PitchClass(root)}, key);
        ++used[std::string(dark_bright_word(made.dark_bright).view())];
        ++used[std::string(resolved_tense_word(made.resolved_tense).view())];
      }
    EXPECT_EQ(used.size(), 9u);
    for (const auto& [word, times] : used) {
      EXPECT_GE(times * 100, all * 2) << word;
      EXPECT_LE(times * 100, all * 65) << word;
    }
  }
}

}  // namespace
}  // namespace undersong::harmony
