#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "clients/offline/commands.h"

namespace undersong::offline {
namespace {

struct ColourOutcome {
  int exit_code = -1;
  std::vector<std::string> lines;
  std::string complaint;
};

// Runs `undersong colour` on a temporary table.
ColourOutcome colour(const std::string& table, std::vector<std::string> options = {}) {
  const auto path =
      std::filesystem::temp_directory_path() / ("undersong-colour-" + std::to_string(::getpid()) + ".csv");
  std::ofstream(path) << table;
  ColourOutcome out;
  CLI::App program;
  add_colour(program, out.exit_code);
  std::vector<std::string> words(options.rbegin(), options.rend());
  words.push_back(path.string());
  words.push_back("colour");
  testing::internal::CaptureStdout();
  testing::internal::CaptureStderr();
  program.parse(words);
  std::fflush(stdout);
  std::istringstream printed(testing::internal::GetCapturedStdout());
  out.complaint = testing::internal::GetCapturedStderr();
  for (std::string line; std::getline(printed, line);) out.lines.push_back(line);
  std::filesystem::remove(path);
  return out;
}
double number(const std::string& line, int column) {
  std::istringstream in(line);
  std::string field;
  for (int i = 0; i <= column; ++i) std::getline(in, field, ',');
  return std::stod(field);
}
constexpr int kPrediction = 1, kConsonance = 2, kTension = 3, kDarkBright = 5;

TEST(ColourCommand, RatesEveryChordOfATable) {
  const auto out = colour("# a remark\nid,name,midi\nmajor,\"C, plain\",60 64 67\ncluster,C,60 61 62\n");
  EXPECT_EQ(out.exit_code, 0) << out.complaint;
  ASSERT_EQ(out.lines.size(), 3u);
  EXPECT_TRUE(out.lines[0].starts_with("id,prediction,"));
  EXPECT_TRUE(out.lines[1].starts_with("major,"));
  EXPECT_GT(number(out.lines[1], kPrediction), number(out.lines[2], kPrediction));
}
TEST(ColourCommand, PredictsTheScaleThatTheTableIsAboutUnlessToldOtherwise) {
  const auto rated = colour("id,midi,rating\na,60 64 67,3\n");
  EXPECT_EQ(number(rated.lines[1], kPrediction), number(rated.lines[1], kConsonance));
  const auto tense = colour("id,midi,tension\na,60 64 67,3\n");
  EXPECT_EQ(number(tense.lines[1], kPrediction), number(tense.lines[1], kTension));
  const auto told = colour("id,midi,tension\na,60 64 67,3\n", {"--predict", "dark_bright"});
  EXPECT_EQ(number(told.lines[1], kPrediction), number(told.lines[1], kDarkBright));
}
TEST(ColourCommand, ReadsNamesOfChordsInPlaceOfKeys) {
  const auto out =
      colour("id,chord,key\nhome,C:maj7,C:maj\nseventh,C7,C:maj\nalone,C:7,\n", {"--predict", "dark_bright"});
  EXPECT_EQ(out.exit_code, 0);
  ASSERT_EQ(out.lines.size(), 4u) << out.complaint;
  EXPECT_GT(number(out.lines[1], kPrediction), number(out.lines[2], kPrediction))
      << "a major seventh is brighter than a dominant";
  EXPECT_NE(number(out.lines[2], kPrediction), number(out.lines[3], kPrediction)) << "the key counts";
}

TEST(ColourCommand, HearsAChordInItsKeyAndAfterTheChordBefore) {
  const std::string table = "id,midi,tension\nhome,48 55 64 72,\nfar,54 61 66 70,\n";
  const auto framed = colour("# The frame chord is midi 48 55 64 72.\n" + table);
  EXPECT_LT(number(framed.lines[1], kTension), number(framed.lines[2], kTension) - 1);
  const auto told = colour(table, {"--key", "C:maj", "--previous", "48 55 64 72"});
  EXPECT_EQ(framed.lines, told.lines);
}
TEST(ColourCommand, AnswersATableOfOrders) {
  const auto out =
      colour("brighter,darker,pcs_brighter,pcs_darker\nmajor,minor,0 4 7,0 3 7\n\"same, higher\",lower,,\n");
  ASSERT_EQ(out.lines.size(), 3u);
  EXPECT_TRUE(out.lines[1].ends_with(",y"));
  EXPECT_TRUE(out.lines[2].starts_with("\"same, higher\",lower,"));
  EXPECT_TRUE(out.lines[2].ends_with(",y"));
}
TEST(ColourCommand, SaysInOneSentenceWhatIsWrongAndWhere) {
  const auto complaint = [](const std::string& table, std::vector<std::string> options = {}) {
    const auto out = colour(table, std::move(options));
    EXPECT_EQ(out.exit_code, 1);
    EXPECT_TRUE(out.complaint.ends_with(".\n"));
    return out.complaint;
  };
  EXPECT_NE(
      complaint("id,midi\na,60 64\nb,60 x\n").find("line 3: \"midi\" must be whole numbers from 0 to 127"),
      std::string::npos);
  EXPECT_NE(complaint("id,midi\na,60 128\n").find("line 2"), std::string::npos);
  EXPECT_NE(complaint("id,midi\na,\n").find("line 2: \"midi\" holds no keys"), std::string::npos);
  EXPECT_NE(
      complaint("name\nC\n").find("line 1: the columns \"id\", and \"midi\" or \"chord\", are required"),
      std::string::npos);
  EXPECT_NE(complaint("id,chord\na,Q\n").find("line 2: \"chord\" must be a chord, not \"Q\""),
            std::string::npos);
  EXPECT_NE(complaint("").find("no table"), std::string::npos);
  EXPECT_NE(complaint("id,midi\na,60\n", {"--key", "H:maj"}).find("a key must be written like"),
            std::string::npos);
}

}  // namespace
}  // namespace undersong::offline
