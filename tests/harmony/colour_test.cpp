#include "daemon/harmony/colour.h"

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "daemon/harmony/chord_set.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour_terms.h"
#include "daemon/harmony/harmonicity.h"
#include "daemon/harmony/roughness.h"
#include "daemon/harmony/tonal_space.h"

namespace undersong::harmony {
namespace {

std::vector<Pitch> keys(std::initializer_list<int> numbers, int up = 0) {
  std::vector<Pitch> out;
  for (int number : numbers) out.emplace_back(number + up);
  return out;
}
PitchClassSet set(std::initializer_list<int> tones) {
  PitchClassSet out;
  for (int tone : tones) out.insert(PitchClass(tone));
  return out;
}

// The values are printed in the sources named. Those marked "computed" come from an independent
// implementation.

// Source: test suite and README of R packages dycon and incon (Harrison), after Hutchinson & Knopoff (1978).
TEST(Roughness, MatchesPublishedValues) {
  EXPECT_NEAR(roughness(keys({60, 61}), 1), 0.499, 1e-3);
  EXPECT_NEAR(roughness(keys({69, 70}), 1), 0.491, 1e-3);
  EXPECT_NEAR(roughness(keys({60, 61})), 0.484, 1e-3);
  EXPECT_NEAR(roughness(keys({60, 64, 67})), 0.1202426, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 63, 67})), 0.1300830, 1e-6);
}
TEST(Roughness, MatchesComputedValues) {
  EXPECT_NEAR(roughness(keys({60, 63, 66})), 0.2005575, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 64, 68})), 0.1479851, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 65, 67})), 0.1801105, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 64, 67, 71})), 0.2375372, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 64, 67, 70})), 0.221465, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 63, 67, 70})), 0.1942931, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 63, 66, 70})), 0.2376483, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 63, 66, 69})), 0.262382, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 63, 67, 71})), 0.2785638, 1e-6);
  EXPECT_NEAR(roughness(keys({60, 64, 67, 70, 73})), 0.3406852, 1e-6);
}
TEST(Roughness, PairTableIsExactForDyads) {
  double energy = 0;
  for (int n = 1; n <= 11; ++n) energy += 1.0 / (n * n);
  for (int low = 21; low < 108; low += 5)
    for (int high = low + 1; high <= 108; high += 3) {
      const double own = roughness(keys({low})) + roughness(keys({high}));
      EXPECT_NEAR(
          (own * energy + static_cast<double>(pair_roughness(Pitch(low), Pitch(high)))) / (2 * energy),
          roughness(keys({low, high})), 1e-6);
      EXPECT_EQ(pair_roughness(Pitch(low), Pitch(high)), pair_roughness(Pitch(high), Pitch(low)));
    }
}

// Source: README of R package har18 (Harrison & Pearce 2018); the values for eleven harmonics are computed.
TEST(Harmonicity, MatchesPublishedAndComputedValues) {
  EXPECT_NEAR(harmonicity(set({0, 4, 7}), 12), 0.9373149, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 3, 6}), 12), 0.7225033, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 4, 7})), 0.9285886, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 3, 7})), 0.9285886, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 4, 8})), 0.8636642, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 5, 7})), 1.05598, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 4, 7, 11})), 0.8152336, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 3, 6, 9})), 0.5730247, 1e-6);
  EXPECT_NEAR(harmonicity(set({0, 1, 4, 7, 10})), 0.5731774, 1e-6);
}

// Source: test suite of R package stolz15 (Stolzenburg 2015); the values after the blank line are computed.
TEST(Periodicity, MatchesPublishedAndComputedValues) {
  EXPECT_NEAR(log_periodicity(keys({60, 63, 69})), 3.7f, 0.05f);
  EXPECT_NEAR(log_periodicity(keys({48, 64, 67})), 1.0f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 63, 67})), std::log2(10.0f), 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 61, 62, 63, 64, 65, 66, 67, 68, 69, 70, 71})), 7.4f, 0.05f);

  EXPECT_NEAR(log_periodicity(keys({60, 64, 67})), 2.0f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 63, 66})), 3.786034f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 64, 68})), 4.321928f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 65, 67})), 3.163951f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 64, 67, 71})), 3.0f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 64, 67, 70})), 4.430168f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 63, 67, 70})), 3.680168f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 63, 66, 69})), 4.278247f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 63, 67, 71})), 5.571928f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({60, 64, 67, 70, 73})), 5.740876f, 1e-5f);
  EXPECT_NEAR(log_periodicity(keys({73, 60, 70, 67, 64})), 5.740876f, 1e-5f)
      << "the order of the keys doesn't matter";
}

// Computed from the counts of the Billboard corpus.
TEST(ChordSet, UnfamiliarityMatchesComputedValuesInEveryTransposition) {
  for (int up = 0; up < 12; ++up) {
    EXPECT_NEAR(chord_set(set({0, 4, 7}).transposed(up)).unfamiliarity, 0.668836f, 1e-5f);
    EXPECT_NEAR(chord_set(set({0, 3, 7}).transposed(up)).unfamiliarity, 2.180269f, 1e-5f);
    EXPECT_NEAR(chord_set(set({0, 3, 6}).transposed(up)).unfamiliarity, 5.949944f, 1e-5f);
    EXPECT_NEAR(chord_set(set({0, 4, 7, 10}).transposed(up)).unfamiliarity, 2.454687f, 1e-5f);
    EXPECT_NEAR(chord_set(set({0, 3, 6, 10}).transposed(up)).unfamiliarity, 5.254223f, 1e-5f);
    EXPECT_NEAR(chord_set(set({0, 1, 4, 7, 10}).transposed(up)).unfamiliarity, 6.447118f, 1e-5f);
  }
}
TEST(ChordSet, CountsTonesOutsideTheNearestMajorScale) {
  EXPECT_EQ(chord_set(set({0, 4, 7, 11})).outside, 0);
  EXPECT_EQ(chord_set(set({0, 4, 8})).outside, 1);
  EXPECT_EQ(chord_set(set({0, 1, 2, 3})).outside, 1);
}

// Source: Lerdahl (2001), ch. 2, as tabulated on a teaching page.
TEST(TonalSpace, LerdahlDistancesFromTheTonicMatchPublishedValues) {
  const Triad tonic{PitchClass(0), PitchClass(4), PitchClass(7)};
  const auto to = [&](int root, int third, int fifth) {
    return chord_distance(tonic, PitchClass(0), {PitchClass(root), PitchClass(third), PitchClass(fifth)},
                          PitchClass(0));
  };
  EXPECT_EQ(to(0, 4, 7), 0);
  EXPECT_EQ(to(2, 5, 9), 8);
  EXPECT_EQ(to(4, 7, 11), 7);
  EXPECT_EQ(to(5, 9, 0), 5);
  EXPECT_EQ(to(7, 11, 2), 5);
  EXPECT_EQ(to(9, 0, 4), 7);
  EXPECT_EQ(to(11, 2, 5), 8);
  for (int tonic_at = 0; tonic_at < 12; ++tonic_at)
    EXPECT_EQ(distance_from_tonic(set({7, 11, 2}).transposed(tonic_at), PitchClass(7 + tonic_at),
                                  {PitchClass(tonic_at), Mode::kMajor}),
              5);
}

// Computed from the profiles of Krumhansl & Kessler (1982).
TEST(TonalSpace, KeyCorrelationsMatchComputedValues) {
  const auto from_c_major = [](int tonic, Mode mode) {
    return profile_correlation(kMajorProfile, {PitchClass(tonic), mode});
  };
  EXPECT_NEAR(from_c_major(0, Mode::kMajor), 1, 1e-6);
  EXPECT_NEAR(from_c_major(0, Mode::kMinor), 0.512133, 1e-6);
  EXPECT_NEAR(from_c_major(7, Mode::kMajor), 0.5909742, 1e-6);
  EXPECT_NEAR(from_c_major(5, Mode::kMajor), 0.5909742, 1e-6);
  EXPECT_NEAR(from_c_major(9, Mode::kMinor), 0.6496481, 1e-6);
  EXPECT_NEAR(from_c_major(4, Mode::kMinor), 0.5360614, 1e-6);
  EXPECT_NEAR(from_c_major(6, Mode::kMajor), -0.6828226, 1e-6);
  EXPECT_NEAR(from_c_major(3, Mode::kMinor), -0.6532497, 1e-6);
}

// Computed.
TEST(TonalSpace, MeanFifthsMatchComputedValues) {
  const PitchClass c(0);
  EXPECT_NEAR(mean_fifths(set({0, 4, 7}), c), 1.666667f, 1e-5f);
  EXPECT_NEAR(mean_fifths(set({0, 3, 7}), c), -0.6666667f, 1e-5f);
  EXPECT_NEAR(mean_fifths(set({0, 3, 6}), c), -3, 1e-5f);
  EXPECT_NEAR(mean_fifths(set({0, 4, 8}), c), 0, 1e-5f);
  EXPECT_NEAR(mean_fifths(set({0, 4, 7, 11}), c), 2.5f, 1e-5f);
  EXPECT_NEAR(mean_fifths(set({0, 3, 6, 10}), c), -2.75f, 1e-5f);
  EXPECT_NEAR(mean_fifths(set({0, 1, 4, 7, 10}), c), -0.4f, 1e-5f);
}
TEST(TonalSpace, TheLikelyRootIsTheNamedOneOfEverydayChords) {
  EXPECT_EQ(likely_root(set({0, 4, 7}), PitchClass(4)), PitchClass(0));
  EXPECT_EQ(likely_root(set({0, 4, 9}), PitchClass(0)), PitchClass(9));
  EXPECT_EQ(likely_root(set({0, 3, 7, 10}), PitchClass(0)), PitchClass(0));
  EXPECT_EQ(likely_root(set({0, 4, 7, 9}), PitchClass(0)), PitchClass(0));
  EXPECT_EQ(likely_root(set({0, 4, 7, 9}), PitchClass(9)), PitchClass(9));
  EXPECT_EQ(likely_root(set({7, 11, 2, 5}), PitchClass(2)), PitchClass(7));
}

Colour of(const char* harte, int root, std::optional<Key> key) {
  return colour({PitchClass(root), quality(harte), PitchClass(root)}, key);
}
constexpr Key kCMajor{PitchClass(0), Mode::kMajor};

// Source: the orders stated in the abstracts of Temperley & Tan (2013), Lahdelma & Eerola (2016) and Collier
// & Hubbard (2004).
TEST(DarkBright, OrdersModesTriadsAndRegistersAsPublished) {
  const auto mode = [](std::initializer_list<int> scale) {
    return colour(keys(scale, 60), std::nullopt, PitchClass(0)).dark_bright;
  };
  const float ionian = mode({0, 2, 4, 5, 7, 9, 11}), mixolydian = mode({0, 2, 4, 5, 7, 9, 10}),
              dorian = mode({0, 2, 3, 5, 7, 9, 10}), aeolian = mode({0, 2, 3, 5, 7, 8, 10}),
              phrygian = mode({0, 1, 3, 5, 7, 8, 10}), locrian = mode({0, 1, 3, 5, 6, 8, 10});
  EXPECT_GT(ionian, mixolydian);
  EXPECT_GT(mixolydian, dorian);
  EXPECT_GT(dorian, aeolian);
  EXPECT_GT(aeolian, phrygian);
  EXPECT_GT(phrygian, locrian);
  EXPECT_GT(mode({0, 2, 4, 6, 7, 9, 11}), dorian) << "Lydian";
  EXPECT_GT(mode({0, 4, 7}), mode({0, 3, 7}));
  for (int up = -24; up < 36; ++up)
    for (auto chord : {keys({60, 64, 67}, up), keys({60, 63, 67}, up), keys({52, 60, 66, 71}, up)}) {
      auto higher = chord;
      for (Pitch& key : higher) key = Pitch(key.value() + 1);
      const auto low = colour(chord, std::nullopt), high = colour(higher, std::nullopt);
      EXPECT_GT(high.dark_bright, low.dark_bright);
      EXPECT_GT(high.height, low.height);
      EXPECT_EQ(high.mode, low.mode) << "the mode term knows no register";
    }
}
TEST(DarkBright, InAKeyFlatSideChordsAreDarker) {
  EXPECT_GT(of("maj7", 0, kCMajor).dark_bright, of("maj7", 8, kCMajor).dark_bright);
  EXPECT_GT(of("maj", 7, kCMajor).dark_bright, of("maj", 10, kCMajor).dark_bright);
  EXPECT_GT(of("maj", 5, kCMajor).dark_bright, of("min", 5, kCMajor).dark_bright);
}

TEST(ResolvedTense, IsLeastOnTheTonicAndGrowsWithDissonanceAndDistance) {
  for (int tonic = 0; tonic < 12; ++tonic) {
    const Key key{PitchClass(tonic), Mode::kMajor};
    const auto tense = [&](const char* harte, int above) {
      return of(harte, (tonic + above) % 12, key).resolved_tense;
    };
    EXPECT_LT(tense("maj", 0), tense("maj", 7));
    EXPECT_LT(tense("maj", 7), tense("7", 7));
    EXPECT_LT(tense("maj", 7), tense("maj", 6)) << "the same triad at home and a tritone away";
    EXPECT_LT(tense("7", 7), tense("7(*5,b9,#9,#11,b13)", 7));
    EXPECT_LT(tense("maj7", 0), tense("7", 7));
    EXPECT_EQ(tense("maj", 7), of("maj", 7, kCMajor).resolved_tense) << "keys don't differ but in pitch";
  }
  EXPECT_LT(of("maj", 0, std::nullopt).resolved_tense, of("min7", 0, std::nullopt).resolved_tense);
  EXPECT_LT(of("min7", 0, std::nullopt).resolved_tense, of("dim7", 0, std::nullopt).resolved_tense);
}
TEST(ResolvedTense, AFartherMoveIsTenser) {
  const auto chord = keys({50, 57, 65, 69}), near = keys({50, 57, 64, 69}), far = keys({36, 45, 52, 60});
  EXPECT_LT(colour(chord, kCMajor, PitchClass(2), near).resolved_tense,
            colour(chord, kCMajor, PitchClass(2), far).resolved_tense);
}
TEST(Colour, IsTotalAndWithinItsRangesForWhateverSounds) {
  EXPECT_EQ(colour(std::span<const Pitch>(), std::nullopt).resolved_tense, 0);
  std::uint32_t seed = 1;
  for (int i = 0; i < 20000; ++i) {
    std::vector<Pitch> any;
    const auto next = [&](std::uint32_t below) {
      return static_cast<int>((seed = seed * 1664525u + 1013904223u) >> 8) % static_cast<int>(below);
    };
    for (int n = 1 + next(20); n > 0; --n) any.emplace_back(next(128));
    std::optional<Key> key;
    if (next(2)) key = Key{PitchClass(next(12)), next(2) ? Mode::kMajor : Mode::kMinor};
    const Colour out = colour(any, key);
    EXPECT_TRUE(out.dark_bright >= -1 && out.dark_bright <= 1 && out.resolved_tense >= 0 &&
                out.resolved_tense <= 1);
    EXPECT_TRUE(std::isfinite(out.valence) && std::isfinite(out.consonance));
  }
  for (std::size_t i = 0; i < chord_vocabulary().size(); ++i)
    for (int root = 0; root < 12; ++root) {
      const Chord chord{PitchClass(root), Quality(static_cast<int>(i)), PitchClass(root)};
      const Colour out = colour(chord, kCMajor);
      EXPECT_TRUE(out.dark_bright >= -1 && out.dark_bright <= 1 && out.resolved_tense >= 0 &&
                  out.resolved_tense <= 1);
      EXPECT_EQ(out.height, 0);
    }
}

// Common practice, no source. The weights were learnt from listeners; these orders hold whoever is asked.
TEST(Consonance, IntervalsAndTriadsStandInTheOrderOfCommonPractice) {
  const auto consonance = [](std::initializer_list<int> chord) {
    return ratings(colour_terms(keys(chord, 60), std::nullopt, std::nullopt, {}), false).consonance;
  };
  for (const int perfect : {7, 12})
    for (const int imperfect : {3, 4, 8, 9})
      EXPECT_GT(consonance({0, perfect}), consonance({0, imperfect})) << perfect << ", " << imperfect;
  for (const int imperfect : {3, 4, 8, 9})
    for (const int dissonant : {1, 2, 6, 10, 11})
      EXPECT_GT(consonance({0, imperfect}), consonance({0, dissonant})) << imperfect << ", " << dissonant;
  EXPECT_GT(consonance({0, 4, 7}), consonance({0, 3, 7}));
  EXPECT_GT(consonance({0, 3, 7}), consonance({0, 3, 6}));
  EXPECT_GT(consonance({0, 3, 7}), consonance({0, 4, 8}));
  EXPECT_GT(consonance({0, 4, 7}), consonance({0, 4, 7, 10})) << "a seventh is a dissonance";
  EXPECT_GT(consonance({0, 4, 7, 10}), consonance({0, 1, 2, 3})) << "a cluster is a harsh one";
}
TEST(Valence, AMajorChordIsGladderThanTheMinorOneAndADiminishedOneIsTenserThanBoth) {
  for (int up = -12; up <= 12; ++up) {
    const auto of_keys = [&](std::initializer_list<int> chord) {
      return colour(keys(chord, 60 + up), std::nullopt, PitchClass(60 + up));
    };
    EXPECT_GT(of_keys({0, 4, 7}).valence, of_keys({0, 3, 7}).valence);
    EXPECT_LT(of_keys({0, 4, 7}).resolved_tense, of_keys({0, 3, 6}).resolved_tense);
    EXPECT_LT(of_keys({0, 3, 7}).resolved_tense, of_keys({0, 3, 6, 9}).resolved_tense);
  }
}

// Agreement with listeners, where the ratings are at hand; none of them is in the project.
class Listeners : public ::testing::Test {
 protected:
  using Row = std::map<std::string, std::string>;
  std::vector<Row> rows(const std::string& name) {
    std::vector<Row> out;
    std::ifstream in(folder_ / name);
    std::vector<std::string> names;
    for (std::string line; std::getline(in, line);) {
      if (line.empty() || line[0] == '#') continue;
      std::vector<std::string> fields(1);
      bool quoted = false;
      for (char c : line) {
        if (c == '"')
          quoted = !quoted;
        else if (c == ',' && !quoted)
          fields.emplace_back();
        else
          fields.back() += c;
      }
      if (names.empty()) {
        names = fields;
        continue;
      }
      Row row;
      for (std::size_t i = 0; i < names.size() && i < fields.size(); ++i) row[names[i]] = fields[i];
      out.push_back(row);
    }
    return out;
  }
  static std::vector<Pitch> midi(const std::string& text) {
    std::istringstream in(text);
    std::vector<Pitch> out;
    for (int key = 0; in >> key;) out.emplace_back(key);
    return out;
  }
  static double correlation(const std::vector<double>& a, const std::vector<double>& b) {
    double ma = 0, mb = 0, ab = 0, aa = 0, bb = 0;
    for (std::size_t i = 0; i < a.size(); ++i) ma += a[i], mb += b[i];
    ma /= static_cast<double>(a.size()), mb /= static_cast<double>(a.size());
    for (std::size_t i = 0; i < a.size(); ++i)
      ab += (a[i] - ma) * (b[i] - mb), aa += (a[i] - ma) * (a[i] - ma), bb += (b[i] - mb) * (b[i] - mb);
    return ab / std::sqrt(aa * bb);
  }
  void SetUp() override {
    if (!std::filesystem::exists(folder_ / "consonance.csv"))
      GTEST_SKIP() << "no evaluation data in ../shared/eval/colour";
  }
  std::filesystem::path folder_ = std::filesystem::path(UNDERSONG_SOURCE_DIR) / "../shared/eval/colour";
};

TEST_F(Listeners, AgreeOnConsonance) {
  std::vector<double> said, heard;
  for (auto& row : rows("consonance.csv")) {
    said.push_back(static_cast<double>(
        ratings(colour_terms(midi(row["midi"]), std::nullopt, std::nullopt, {}), false).consonance));
    heard.push_back(std::stod(row["rating"]));
  }
  EXPECT_GT(correlation(said, heard), 0.90);
}
TEST_F(Listeners, AgreeOnSetsNeverLearntFrom) {
  std::map<std::string, std::pair<std::vector<double>, std::vector<double>>> sets;
  for (auto& row : rows("more_consonance.csv")) {
    auto& [said, heard] = sets[row["dataset"]];
    said.push_back(static_cast<double>(
        ratings(colour_terms(midi(row["midi"]), std::nullopt, std::nullopt, {}), false).consonance));
    heard.push_back(std::stod(row["rating"]) * std::stod(row["direction"]));
  }
  double sum = 0, n = 0;
  for (auto& [name, values] : sets) {
    sum += correlation(values.first, values.second) * static_cast<double>(values.first.size());
    n += static_cast<double>(values.first.size());
  }
  EXPECT_GT(sum / n, 0.81);
}
TEST_F(Listeners, AgreeOnTensionAndValenceOfSingleChords) {
  std::vector<double> tense, tension, pleasant, valence;
  for (auto& row : rows("emotion.csv")) {
    const auto chord = midi(row["midi"]);
    const Colour made = colour(chord, std::nullopt,
                               row["root_ambiguous"] == "y"
                                   ? std::nullopt
                                   : std::optional(PitchClass(chord[0].value() + std::stoi(row["root"]))));
    tense.push_back(static_cast<double>(made.resolved_tense)), tension.push_back(std::stod(row["tension"]));
    pleasant.push_back(static_cast<double>(made.valence)), valence.push_back(std::stod(row["valence"]));
  }
  EXPECT_GT(correlation(tense, tension), 0.95);
  EXPECT_GT(correlation(pleasant, valence), 0.88);
}
TEST_F(Listeners, AgreeOnTensionInAKey) {
  const auto frame = keys({48, 55, 64, 72});
  std::vector<double> tense, tension;
  for (auto& row : rows("context_tension.csv")) {
    if (row["tension"].empty()) continue;
    const auto chord = midi(row["midi"]);
    tense.push_back(static_cast<double>(
        colour(chord, kCMajor, PitchClass(std::stoi(row["root_pc"])), frame).resolved_tense));
    tension.push_back(std::stod(row["tension"]));
  }
  EXPECT_GT(correlation(tense, tension), 0.80);
}

}  // namespace
}  // namespace undersong::harmony
