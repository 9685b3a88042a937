// The picture of a loop for a terminal.
#include "clients/terminal/loop_picture.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>
#include <vector>

namespace undersong::terminal {
namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> out;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) out.push_back(line);
  return out;
}

const std::vector<LoopBlock> kLoop{{"Ebmaj7", 0.4, 0.35, {"bright", "at rest"}},
                                   {"Cm9", -0.3, 0.55, {"dark", "mild"}},
                                   {"G7b9", -0.1, 0.85, {"neutral", "tense"}}};

// How many rows of the picture have a block in the column of this chord.
int height(const std::vector<std::string>& lines, std::size_t chord) {
  const std::size_t column = lines[lines.size() - 3].find(kLoop[chord].name);
  return static_cast<int>(std::count_if(lines.begin(), lines.end() - 3, [&](const std::string& line) {
    return line.size() > column && line[column] != ' ';
  }));
}

TEST(LoopPicture, HigherIsTenserAndTheWordsStandUnderEachChord) {
  const auto lines = lines_of(draw_loop(kLoop, {.width = 80, .blocks = false}));
  ASSERT_GE(lines.size(), 4u);
  EXPECT_EQ(height(lines, 0), 1);
  EXPECT_GT(height(lines, 1), height(lines, 0));
  EXPECT_GT(height(lines, 2), height(lines, 1));
  const std::string& words = lines[lines.size() - 1];
  EXPECT_EQ(words.find("mild"), lines[lines.size() - 3].find("Cm9"));
  EXPECT_EQ(lines[lines.size() - 2].find("bright"), lines[lines.size() - 3].find("Ebmaj7"));
}

TEST(LoopPicture, BrighterIsLighterAlsoWithoutColours) {
  const auto lines = lines_of(draw_loop(kLoop, {.width = 80, .blocks = false}));
  const std::string& bottom = lines[lines.size() - 4];
  const auto mark = [&](std::size_t chord) {
    return bottom[lines[lines.size() - 3].find(kLoop[chord].name)];
  };
  EXPECT_EQ(mark(0), '.');
  EXPECT_NE(mark(0), mark(1));
  EXPECT_EQ(draw_loop(kLoop, {.width = 80}).find('\x1b'), std::string::npos);
  EXPECT_NE(draw_loop(kLoop, {.width = 80, .colours = true}).find("\x1b[38;5;"), std::string::npos);
}

TEST(LoopPicture, ALongLoopGoesOnInAnotherRowAndNoLineIsTooWide) {
  std::vector<LoopBlock> many;
  for (int i = 0; i < 9; ++i) many.push_back(kLoop[static_cast<std::size_t>(i % 3)]);
  const auto lines = lines_of(draw_loop(many, {.width = 60, .blocks = false}));
  EXPECT_EQ(std::count(lines.begin(), lines.end(), ""), 2) << "four to a row";
  for (const auto& line : lines) EXPECT_LE(line.size(), 60u) << line;
  EXPECT_EQ(draw_loop({}, {}), "");
}

}  // namespace
}  // namespace undersong::terminal
