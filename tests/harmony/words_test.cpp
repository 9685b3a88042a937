#include "daemon/harmony/words.h"

#include <gtest/gtest.h>

#include <array>
#include <string>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

std::string whole(const Word& word) {
  return std::string(word.view());
}

TEST(Words, AreTheTextsThemselves) {
  const auto rows = chord_vocabulary();
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const QualityWords& made = words(Quality(static_cast<int>(i)));
    EXPECT_EQ(whole(made.harte), rows[i].harte);
    EXPECT_EQ(whole(made.letters), rows[i].letters);
    EXPECT_EQ(whole(made.signs), rows[i].signs);
  }
  for (int fifths = kFlattestWord; fifths <= kSharpestWord; ++fifths)
    EXPECT_EQ(whole(word(NoteName(fifths))), text(NoteName(fifths)));
  for (int number = 1; number <= 13; ++number)
    for (int alter = -2; alter <= 2; ++alter) {
      const Degree degree{static_cast<std::int8_t>(number), static_cast<std::int8_t>(alter)};
      EXPECT_EQ(whole(word(degree)), text(degree));
    }
  for (int tonic = 0; tonic < 12; ++tonic)
    for (const Mode mode : {Mode::kMajor, Mode::kMinor})
      EXPECT_EQ(whole(word(Key{PitchClass(tonic), mode})), text(Key{PitchClass(tonic), mode}));
  EXPECT_EQ(whole(whole_word(0)), "0");
  EXPECT_EQ(whole(whole_word(255)), "255");
  EXPECT_EQ(whole(thousandths_word(0)), "0");
  EXPECT_EQ(whole(thousandths_word(5)), "0.005");
  EXPECT_EQ(whole(thousandths_word(120)), "0.12");
  EXPECT_EQ(whole(thousandths_word(1000)), "1");
}

TEST(Words, ANameFarOutKeepsItsKeyOnTheKeyboard) {
  for (int fifths = -60; fifths <= 60; ++fifths)
    EXPECT_EQ(parse_note_name(whole(word(NoteName(fifths))))->pitch_class(), NoteName(fifths).pitch_class());
}

TEST(Words, TheLongestReasonHasRoom) {
  Quality longest_letters;
  const auto rows = chord_vocabulary();
  for (std::size_t i = 0; i < rows.size(); ++i)
    if (rows[i].letters.size() > row(longest_letters).letters.size())
      longest_letters = Quality(static_cast<int>(i));
  std::size_t longest = 0;
  for (std::size_t why = 0; why < static_cast<std::size_t>(Why::kCount); ++why)
    for (const bool minor : {false, true})
      for (std::uint8_t degree = 0; degree < 12; ++degree) {
        Alternative alternative;
        alternative.root_name = NoteName(-12);
        alternative.degrees = {Degree{13, -2}, Degree{11, -2}};
        alternative.reason.function = {static_cast<Why>(why), degree,        minor,
                                       NoteName(-15),         NoteName(-15), degree};
        alternative.reason.from = longest_letters;
        std::string reason;
        append_reason(reason, alternative, {Pitch(60), Pitch(64)}, {NoteName(-8), NoteName(12)});
        longest = std::max(longest, reason.size());
        EXPECT_EQ(why == 0, reason.find(';') == std::string::npos) << reason;
      }
  EXPECT_GT(longest, 60u);
  EXPECT_LE(longest, kLongestReason);
}

}  // namespace
}  // namespace undersong::harmony
