#include "daemon/takes/timeline.h"

#include <gtest/gtest.h>

namespace undersong::takes {
namespace {

Line timeline_chord(int at_ms, const char* harte) {
  Line line;
  line.at = Micros(at_ms * 1000);
  line.kind = LineKind::kChord;
  line.data = std::string("{\"harte\":\"") + harte + "\",\"confidence\":0." + std::to_string(at_ms % 7) + "}";
  return line;
}

std::vector<std::pair<int, std::string>> timeline_names(const std::vector<Line>& lines) {
  std::vector<std::pair<int, std::string>> out;
  for (const Line& line : settled_chords(lines))
    out.emplace_back(static_cast<int>(line.at.count() / 1000),
                     line.data.substr(10, line.data.find('"', 10) - 10));
  return out;
}

using Names = std::vector<std::pair<int, std::string>>;

TEST(Timeline, ANameOnTheWayToTheNextGivesItItsBeginning) {
  EXPECT_EQ(timeline_names({timeline_chord(0, "C:maj"), timeline_chord(40, "C:maj7"),
                            timeline_chord(90, "C:maj9"), timeline_chord(2000, "F:maj")}),
            (Names{{0, "C:maj9"}, {2000, "F:maj"}}));
}

TEST(Timeline, ALineThatLiesBeforeAnotherCorrectsIt) {
  EXPECT_EQ(timeline_names(
                {timeline_chord(0, "C:maj"), timeline_chord(1000, "A:min"), timeline_chord(900, "F:maj/3")}),
            (Names{{0, "C:maj"}, {900, "F:maj/3"}}));
}

TEST(Timeline, AnExcursionOfABlinkLeavesOneChord) {
  EXPECT_EQ(timeline_names(
                {timeline_chord(0, "C:maj"), timeline_chord(1000, "C:sus4"), timeline_chord(1100, "C:maj")}),
            (Names{{0, "C:maj"}}));
}

TEST(Timeline, NothingGivesNothingAndLongNamesStay) {
  EXPECT_TRUE(timeline_names({}).empty());
  EXPECT_EQ(timeline_names({timeline_chord(0, "C:maj"), timeline_chord(150, "A:min")}).size(), 2u);
}

}  // namespace
}  // namespace undersong::takes
