// The colour of chords keeps the orders that theory books agree on. The pairs and their books are in
// colour_order.csv, which learn_colour.py reads too.
#include <gtest/gtest.h>
#include <array>

#include <cstdlib>
#include <fstream>
#include <set>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/colour.h"

namespace undersong::harmony {
namespace {

struct Pair {
  std::string scale, more, less, key, half, source;
};

std::vector<Pair> pairs() {
  std::vector<Pair> out;
  std::ifstream in(UNDERSONG_SOURCE_DIR "/tests/harmony/colour_order.csv");
  EXPECT_TRUE(in);
  bool names = true;
  for (std::string line; std::getline(in, line);) {
    if (line.starts_with("#") || std::exchange(names, false)) continue;
    std::array<std::string, 6> fields;
    std::size_t at = 0;
    bool quoted = false;
    for (const char c : line) {
      if (c == '"')
        quoted = !quoted;
      else if (c == ',' && !quoted)
        ++at;
      else if (at < fields.size())
        fields[at] += c;
    }
    EXPECT_EQ(at, 5u) << line;
    out.push_back({fields[0], fields[1], fields[2], fields[3], fields[4], fields[5]});
  }
  return out;
}

// The colour of one side of a pair, moved up by some semitones together with the key.
Colour colour_of(const std::string& side, std::optional<Key> key, int up) {
  if (key) key->tonic = transpose(key->tonic, up);
  if (side.find(':') != std::string::npos) {
    const auto read = parse_harte(side);
    EXPECT_TRUE(read && read->exact) << side;
    if (!read) return {};
    return colour({transpose(read->chord.root, up), read->chord.quality, transpose(read->chord.bass, up)},
                  key);
  }
  std::istringstream tones(side);
  std::vector<Pitch> scale;
  for (int tone = 0; tones >> tone;) scale.emplace_back(60 + tone + up);
  return colour(scale, key, PitchClass(up));
}

TEST(ColourOrder, HoldsForEveryPairOfTheBooksOnEveryTonic) {
  for (const Pair& pair : pairs()) {
    const auto key = parse_key(pair.key);
    ASSERT_EQ(key.has_value(), !pair.key.empty()) << pair.key;
    for (int up = 0; up < 12; ++up) {
      const Colour more = colour_of(pair.more, key, up), less = colour_of(pair.less, key, up);
      // At least what clients can tell apart: numbers go out with three decimals.
      if (pair.scale == "bright")
        EXPECT_GT(more.dark_bright, less.dark_bright + 0.001f)
            << pair.more << " is brighter than " << pair.less << ", " << up << " up: " << pair.source;
      else
        EXPECT_GT(more.resolved_tense, less.resolved_tense + 0.001f)
            << pair.more << " is tenser than " << pair.less << ", " << up << " up: " << pair.source;
    }
  }
}

TEST(ColourOrder, TheTableIsWellFormedAndLargeEnough) {
  std::set<std::string> seen;
  int bright = 0, tense = 0, open = 0, closed = 0;
  for (const Pair& pair : pairs()) {
    EXPECT_TRUE(seen.insert(pair.scale + pair.more + ">" + pair.less + pair.key).second)
        << "twice: " << pair.more;
    EXPECT_FALSE(seen.contains(pair.scale + pair.less + ">" + pair.more + pair.key));
    EXPECT_FALSE(pair.source.empty()) << pair.more;
    bright += pair.scale == "bright", tense += pair.scale == "tense";
    open += pair.half == "open", closed += pair.half == "closed";
  }
  EXPECT_EQ(bright + tense, open + closed);
  EXPECT_LE(std::abs(open - closed), 1);
  EXPECT_GE(bright, 30);
  EXPECT_GE(tense, 30);
}

}  // namespace
}  // namespace undersong::harmony
