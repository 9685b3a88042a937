// Every quality of the vocabulary on twelve roots, as hands play it: close, inverted, spread, doubled,
// without the fifth, and without the root where that is usual. Counts how often the intended name comes first
// and how often among the first three. Chords with the same tones (C6 and Am7, the transpositions of dim7 and
// aug) cannot all come first, so inversions and rootless forms only have to be among the first three.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <string>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/recogniser.h"

namespace undersong::harmony {
namespace {

struct Layout {
  std::string name;
  std::vector<int> keys;  // semitones above the root
};

std::vector<Layout> layouts(const QualityRow& made) {
  std::vector<int> close;
  for (Degree degree : made.degrees) close.push_back(semitones(degree));
  std::sort(close.begin(), close.end());
  const bool quartal = made.harte.front() == '(';
  std::vector<Layout> out;
  if (quartal) {  // the name itself means this layout
    std::vector<int> stack{0};
    for (std::size_t i = 1; i < close.size(); ++i) stack.push_back(stack.back() + 5);
    return {{"stacked", stack}};
  }
  out.push_back({"close", close});
  for (std::size_t turn = 1; turn < std::min<std::size_t>(close.size(), 4); ++turn) {
    std::vector<int> keys = close;
    for (std::size_t i = 0; i < turn; ++i) keys[i] += 24;
    out.push_back({"inverted", keys});
  }
  std::vector<int> spread = close;
  for (std::size_t i = 1; i < spread.size(); i += 2) spread[i] += 12;
  out.push_back({"spread", spread});
  std::vector<int> doubled = close;
  doubled.push_back(-12);
  doubled.push_back(24);
  out.push_back({"doubled", doubled});
  if (!made.essential.contains(PitchClass(7)) && made.tones.contains(PitchClass(7))) {
    std::vector<int> open = close;
    open.erase(std::find(open.begin(), open.end(), 7));
    out.push_back({"without fifth", open});
    // Third and seventh in the left hand, as players do, so only chords that have both.
    const bool usual =
        made.tones.size() >= 5 &&
        (made.family == Family::kDominant || made.family == Family::kMinor || made.family == Family::kMajor);
    if (usual) {
      std::vector<int> rootless = open;
      rootless.erase(std::find(rootless.begin(), rootless.end(), 0));
      out.push_back({"rootless", rootless});
    }
  }
  return out;
}

TEST(Voicings, TheMeantNameComesFirstOrCloseToIt) {
  struct Count {
    int cases = 0, first = 0, three = 0;
  };
  std::map<std::string, Count> counts;
  Count all;
  for (std::size_t i = 0; i < chord_vocabulary().size(); ++i) {
    const QualityRow& made = chord_vocabulary()[i];
    for (const Layout& layout : layouts(made))
      for (int root = 0; root < 12; ++root) {
        std::vector<Pitch> notes;
        for (int key : layout.keys) notes.emplace_back(48 + root + key);
        std::sort(notes.begin(), notes.end());
        const auto readings = recognise(notes);
        const auto meant = [&](const ChordReading& reading) {
          return reading.chord.root == PitchClass(root) &&
                 reading.chord.quality == Quality(static_cast<int>(i));
        };
        for (Count* count : {&counts[layout.name], &all}) {
          ++count->cases;
          count->first += !readings.empty() && meant(readings[0]);
          count->three += std::any_of(readings.begin(),
                                      readings.begin() + std::min<std::size_t>(3, readings.size()), meant);
        }
      }
  }
  for (const auto& [name, count] : counts)
    std::printf("  %-14s %5d cases, first %.3f, among three %.3f\n", name.c_str(), count.cases,
                1.0 * count.first / count.cases, 1.0 * count.three / count.cases);
  std::printf("  %-14s %5d cases, first %.3f, among three %.3f\n", "all", all.cases,
              1.0 * all.first / all.cases, 1.0 * all.three / all.cases);
  EXPECT_GE(all.cases, 2000);
  EXPECT_GE(counts["close"].first, counts["close"].cases * 98 / 100);
  EXPECT_GE(counts["spread"].first, counts["spread"].cases * 98 / 100);
  EXPECT_GE(counts["doubled"].first, counts["doubled"].cases * 98 / 100);
  EXPECT_EQ(counts["stacked"].first, counts["stacked"].cases);
  EXPECT_GE(counts["without fifth"].three, counts["without fifth"].cases * 95 / 100);
  EXPECT_GE(counts["inverted"].three, counts["inverted"].cases * 90 / 100);
  EXPECT_GE(counts["rootless"].three, counts["rootless"].cases * 60 / 100);
}

}  // namespace
}  // namespace undersong::harmony
