// The place in the list of the chord that a tune was written with, for ten short tunes of our own.
//
// The tunes are plain (common practice, no source) and in ten keys; the table must know the usual
// progressions. How well the ranking does with songs that it has not seen is written in
// daemon/harmony/learning/README.md.
#include <sstream>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_symbol.h"
#include "tests/figures/invented_take.h"

namespace undersong::figures {
namespace {

using namespace harmony;

struct Tune {
  std::string_view key, chords;  // CHORD:NOTE,NOTE ... with MIDI key numbers
};
constexpr Tune kTunes[] = {
    {"C", "C:76,67 F:69,72 G7:71,74 C:72 Am:72,76 Dm:77,74 G7:74,71 C:72"},
    {"G", "G:74,71 D7:69,72 G:71 C:76,72 G:74 A7:73,76 D7:74,66 G:67"},
    {"F", "F:69,72 Bb:74 C7:72,76 F:77 Dm:74,77 Gm:70,74 C7:76,70 F:69"},
    {"Dm", "Dm:74,77 A7:76,73 Dm:74 Gm:70,74 Dm:69,77 Em7b5:67,70 A7:73 Dm:74"},
    {"Eb", "Eb:79,75 Cm7:75,70 Fm7:68,72 Bb7:74,77 Gm7:70,74 C7:76 Fm7:75 Bb7:68 Eb:67"},
    {"Am", "Am:76,72 Dm:69,77 E7:68,71 Am:72 F:69,72 G7:77,74 C:76 E7:74,71 Am:69"},
    {"Bb", "Bb:74,77 Eb:67,70 Bb:77 F7:69,72 Bb:74 G7:71,77 Cm:75 F7:75,69 Bb:70"},
    {"D", "D:78,69 G:71,74 A7:73,67 D:74 Bm:74,78 E7:68,71 A7:76 D:74"},
    {"Cm", "Cm:67,75 Fm:68,72 G7:71,74 Cm:72 Ab:72,75 Fm:77 G7:74 Cm:75"},
    {"A", "A:76,73 E7:74,71 A:73 F#m:69 Bm:74,71 E7:68 A:69"},
};

// One divided by the place of the first entry for which `right` holds; 0 if there is none. Entries with the
// same `kind` count as one place.
template <class Right, class Kind>
double reciprocal_rank(const Alternatives& list, const Right& right, const Kind& kind) {
  std::vector<int> seen;
  for (const Alternative& each : list) {
    const int k = kind(each.chord);
    if (std::find(seen.begin(), seen.end(), k) != seen.end()) continue;
    seen.push_back(k);
    if (right(each.chord)) return 1.0 / static_cast<double>(seen.size());
  }
  return 0;
}

TEST(RankingFigures, TheChordOfAPlainTuneStandsHigh) {
  double root = 0, chord = 0;
  int asked = 0;
  for (const Tune& tune : kTunes) {
    std::vector<Chord> before;
    std::istringstream words{std::string(tune.chords)};
    for (std::string word; words >> word;) {
      const auto colon = word.find(':');
      const auto written = parse_symbol(word.substr(0, colon));
      ASSERT_TRUE(written) << word;
      Question question;
      question.key = parse_key(tune.key);
      ASSERT_TRUE(question.key) << tune.key;
      std::istringstream notes(word.substr(colon + 1));
      for (std::string note; std::getline(notes, note, ',');) {
        const Pitch pitch(std::stoi(note));
        if (question.melody.empty()) question.melody.push_back(pitch);
        question.phrase.add(pitch.pitch_class(), 1);
      }
      for (std::size_t back = 1; back <= std::min<std::size_t>(before.size(), kChordsBefore); ++back) {
        const Chord& earlier = before[before.size() - back];
        if (back == 1)
          question.previous = earlier;
        else
          question.earlier.push_back(earlier);
      }
      before.push_back(written->chord);
      if (before.size() == 1) continue;  // the first chord has no chord before it
      Alternatives list, familiar;
      rank_alternatives(question, nullptr, list);
      question.wishes.surprising = -1;  // with this wish, the learnt table outweighs everything else
      rank_alternatives(question, nullptr, familiar);
      ++asked;
      const Chord& answer = before.back();
      root += reciprocal_rank(
          list, [&](const Chord& each) { return each.root == answer.root; },
          [](const Chord& each) { return each.root.value(); });
      const auto kind = [](const Chord& each) {
        return each.root.value() * 64 + static_cast<int>(quality_class(each.quality));
      };
      chord += reciprocal_rank(
          familiar, [&](const Chord& each) { return kind(each) == kind(answer); }, kind);
    }
  }
  ASSERT_EQ(asked, 72);
  // Measured: .8750 and .8416.
  expect_figure("mean reciprocal rank of the root", root / asked, .87);
  expect_figure("mean reciprocal rank of the chord, at the familiar end", chord / asked, .83);
}

}  // namespace
}  // namespace undersong::figures
