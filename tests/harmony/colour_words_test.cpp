#include "daemon/harmony/colour_words.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

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
  EXPECT_EQ(dark_bright_word(-.45f).view(), "dark");
  EXPECT_EQ(dark_bright_word(-.46f).view(), "very dark");
  EXPECT_EQ(dark_bright_word(0).view(), "neutral");
  EXPECT_EQ(dark_bright_word(.15f).view(), "bright");
  EXPECT_EQ(dark_bright_word(.45f).view(), "very bright");
  EXPECT_EQ(resolved_tense_word(.449f).view(), "at rest");
  EXPECT_EQ(resolved_tense_word(.45f).view(), "mild");
  EXPECT_EQ(resolved_tense_word(.62f).view(), "leaning");
  EXPECT_EQ(resolved_tense_word(.78f).view(), "tense");
}

}  // namespace
}  // namespace undersong::harmony
