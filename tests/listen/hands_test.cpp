// Does the display name what the hands play? Voicings that a musician can name, in the ways that a player
// tries them.
#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/analysis.h"
#include "tests/listen/hands.h"
#include "tests/listen/voicings.h"

namespace undersong::listen {
namespace {

TEST(Hands, AreAtLeastAHundredVoicings) {
  EXPECT_GE(played_voicings().size(), 100u);
}

TEST(Hands, AChordAloneIsNamedAsAMusicianNamesIt) {
  Score sum;
  for (const PlayedVoicing& voicing : played_voicings()) {
    std::mt19937 chance(1);
    Playing playing;
    strike(playing, 500, 2000, voicing.keys, chance);
    sum += score(playing, {{&voicing, 812, 2490}});
  }
  expect_mostly(sum, 0.97);
}

TEST(Hands, EachOfManyChordsInARowIsNamedFromItsKeys) {
  expect_mostly(
      one_after_another(700,
                        [](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
                          strike(out, at, 670, voicing.keys, chance);
                          return at + 12;
                        }),
      0.96);
}

TEST(Hands, LegatoPlayingLeavesNothingOfTheChordBeforeInTheName) {
  expect_mostly(one_after_another(
                    700,
                    [](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
                      // A key that is struck again is released first.
                      for (Key& key : out)
                        if (key.off > at - 5 && std::count(voicing.keys.begin(), voicing.keys.end(), key.key))
                          key.off = at - 5;
                      strike(out, at, 760, voicing.keys, chance);
                      return at + 12;
                    }),
                0.95);
}

TEST(Hands, ARollEndsAsTheNameOfTheWholeChord) {
  expect_mostly(one_after_another(1500,
                                  [](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937&) {
                                    int n = 0;
                                    for (const int key : voicing.keys)
                                      out.push_back({at + 25 * n++, at + 1470, key});
                                    return at + 25 * (n - 1);
                                  }),
                0.95);
}

TEST(Hands, ARightHandThatComesEarlyChangesNothing) {
  expect_mostly(one_after_another(1500,
                                  [](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937&) {
                                    int last = at;
                                    for (const int key : voicing.keys) {
                                      out.push_back({at + (key < 60 ? 100 : 0), at + 1470, key});
                                      last = std::max(last, out.back().on);
                                    }
                                    return last;
                                  }),
                0.95);
}

TEST(Hands, AKeyThatIsBrushedBeforeTheChordLeavesNoTrace) {
  expect_mostly(
      one_after_another(1500,
                        [](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
                          const int top = *std::max_element(voicing.keys.begin(), voicing.keys.end());
                          const int brushed = top + (chance() % 2 == 0 ? 1 : 2);
                          out.push_back({at - 70, at + 10, brushed});
                          strike(out, at, 1470, voicing.keys, chance);
                          return at + 12;
                        }),
      0.95);
}

TEST(Hands, AChordAfterATuneAloneIsNamedFromItsKeys) {
  expect_mostly(
      one_after_another(2000,
                        [](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
                          const int top = *std::max_element(voicing.keys.begin(), voicing.keys.end());
                          for (int n = 0; n < 3; ++n)
                            out.push_back({at + 250 * n, at + 250 * n + 240, top + (n == 1 ? 2 : -2)});
                          strike(out, at + 750, 1200, voicing.keys, chance);
                          return at + 762;
                        }),
      0.95);
}

TEST(Hands, AChordMayBeLaidDownInTwoPartsTheBassOrOneHandFirst) {
  for (const bool bass_alone : {true, false})
    expect_mostly(
        one_after_another(2000,
                          [&](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
                            const auto middle =
                                voicing.keys.begin() +
                                (bass_alone ? 1 : static_cast<std::ptrdiff_t>(voicing.keys.size() / 2));
                            strike(out, at, 1950, {voicing.keys.begin(), middle}, chance);
                            strike(out, at + 220, 1730, {middle, voicing.keys.end()}, chance);
                            return at + 232;
                          }),
        0.93);
}

TEST(Hands, AfterACadenceTheNameIsStillThatOfTheKeys) {
  // Chords that used to be shown as the chord of the cadence, or as its relative.
  struct Case {
    std::vector<int> keys;
    std::string_view name;
  };
  const std::vector<Case> cases{
      {{42, 60, 62, 69}, "D7/F#"}, {{36, 65, 69}, "F/C"}, {{40, 67, 71}, "Em"}, {{43, 60, 64, 69}, "Am7/G"}};
  for (int up = 0; up < 12; ++up)
    for (const Case& one : cases) {
      std::mt19937 chance(7);
      Playing playing;
      int at = 500;
      const std::vector<std::vector<int>> cadence{
          {36, 60, 64, 67}, {41, 60, 65, 69}, {43, 59, 62, 67}, {36, 60, 64, 67}};
      const auto higher = [&](std::vector<int> keys) {
        for (int& key : keys) key += up;
        return keys;
      };
      for (const auto& chord : cadence) strike(playing, at, 950, higher(chord), chance), at += 1000;
      strike(playing, at, 1900, higher(one.keys), chance);
      const auto name = shown(playing, {at + 312})[0];
      ASSERT_TRUE(name);
      auto expected = harmony::parse_symbol(one.name)->chord;
      expected.root = transpose(expected.root, up);
      expected.bass = transpose(expected.bass, up);
      EXPECT_EQ(name->root, expected.root) << one.name << " +" << up;
      EXPECT_EQ(name->bass, expected.bass) << one.name << " +" << up;
    }
}

TEST(Hands, ABassThatWalksUnderAHeldTriadPromisesNothingThatDoesNotSound) {
  for (const int third : {3, 4})
    for (int root = 0; root < 12; ++root) {
      Playing playing;
      std::vector<int> triad{60 + root, 60 + root + third, 60 + root + 7}, times;
      for (const int key : triad) playing.push_back({500, 13'500, key});
      for (int n = 0; n < 12; ++n) {
        playing.push_back({1000 + 1000 * n, 1960 + 1000 * n, 36 + (n * 5) % 12});
        times.insert(times.end(), {1300 + 1000 * n, 1950 + 1000 * n});
      }
      const auto names = shown(playing, times);
      for (std::size_t i = 0; i < times.size(); ++i) {
        std::vector<int> keys = triad;
        keys.push_back(36 + (static_cast<int>(i / 2) * 5) % 12);
        ASSERT_TRUE(names[i]);
        EXPECT_FALSE(contradicts(*names[i], keys))
            << text_of(*names[i]) << " over " << keys.back() << ", triad on " << root;
      }
    }
}

TEST(Hands, AToneThatIsLetGoLeavesTheName) {
  std::mt19937 chance(3);
  Playing playing;
  strike(playing, 500, 4000, {48, 64, 67}, chance);
  playing.push_back({500, 2000, 71});
  const auto names = shown(playing, {1500, 2500});
  EXPECT_EQ(harmony::row(names[0]->quality).harte, "maj7");
  EXPECT_EQ(harmony::row(names[1]->quality).harte, "maj");
}

TEST(Hands, WhatThePedalKeepsOfTheChordStaysInTheName) {
  std::mt19937 chance(3);
  Playing playing;
  strike(playing, 500, 300, {43, 53, 59, 64}, chance);
  strike(playing, 2500, 300, {36, 52, 59, 62, 66}, chance);
  std::vector<std::string> names;
  for (const auto& name :
       shown(playing, {1200, 2400, 2900, 4400}, {{580, true}, {2520, false}, {2580, true}, {4500, false}}))
    names.push_back(text_of(*name));
  EXPECT_EQ(names, (std::vector<std::string>{"G7(13)", "G7(13)", "Cmaj9#11", "Cmaj9#11"}));
}

TEST(Hands, ATuneOverAHeldChordRenamesNothing) {
  std::mt19937 chance(3);
  Playing playing;
  strike(playing, 500, 4000, {48, 64, 67}, chance);
  std::vector<int> times;
  for (int n = 0; n < 8; ++n) {
    playing.push_back({1000 + 300 * n, 1280 + 300 * n,
                       std::vector<int>{76, 77, 79, 77, 74, 72, 71, 72}[static_cast<std::size_t>(n)]});
    times.push_back(1200 + 300 * n);
  }
  for (const auto& name : shown(playing, times)) EXPECT_EQ(text_of(*name), "C");
}

// Plays a run from the second second on, and says when it ends; `times` gets a moment within each of its
// notes.
int run_up(Playing& playing, std::vector<int>& times, const std::vector<int>& run, int apart) {
  int at = 2000;
  for (const int key : run) {
    playing.push_back({at, at + apart + 20, key});
    times.push_back(at + apart - 5);
    at += apart;
  }
  return at;
}

TEST(Hands, ARunOverAHeldChordRenamesNothing) {
  const std::vector<std::vector<int>> runs{{72, 74, 76, 77, 79, 81, 83, 84},
                                           {84, 83, 81, 79, 77, 76, 74, 72, 71, 72},
                                           {67, 71, 72, 76, 79, 83, 84, 88}};
  // How long the chord is held, and whether the pedal holds it and the run.
  for (const auto& [length, pedal] : {std::pair(4500, false), {4500, true}, {400, true}})
    for (const int apart : {60, 80, 100, 130})
      for (const auto& run : runs) {
        SCOPED_TRACE(std::to_string(apart) + " ms, from " + std::to_string(run[0]) + ", chord held " +
                     std::to_string(length) + " ms" + (pedal ? ", pedal" : ""));
        std::mt19937 chance(3);
        Playing playing;
        strike(playing, 500, length, {36, 52, 55, 60}, chance);
        std::vector<int> times;
        const int at = run_up(playing, times, run, apart);
        times.insert(times.end(), {at + 400, at + 900});
        std::vector<std::pair<int, bool>> damper;
        if (pedal) damper.emplace_back(700, true);
        for (const auto& name : shown(playing, times, damper)) {
          ASSERT_TRUE(name);
          EXPECT_EQ(text_of(*name), "C");
        }
      }
}

// The chord is over and the pedal is new: nothing sounds but the run.
TEST(Hands, ARunUnderThePedalIsNoChordUntilAChordEndsIt) {
  const std::vector<std::vector<int>> runs{{72, 74, 76, 77, 79, 81, 83, 84},
                                           {84, 83, 81, 79, 77, 76, 74, 72, 71, 72}};
  for (const int apart : {60, 80, 100})
    for (const auto& run : runs) {
      SCOPED_TRACE(std::to_string(apart) + " ms, from " + std::to_string(run[0]));
      std::mt19937 chance(3);
      Playing playing;
      strike(playing, 500, 400, {36, 52, 55, 60}, chance);
      std::vector<int> times;
      const int at = run_up(playing, times, run, apart);
      strike(playing, at, 1000, {42, 57, 61, 64, 68}, chance);
      times.push_back(at + 400);
      const auto names = shown(playing, times, {{700, true}, {1200, false}, {1250, true}});
      for (std::size_t i = 0; i < names.size(); ++i) {
        ASSERT_TRUE(names[i]);
        const bool runs_on = i < run.size();
        EXPECT_EQ(harmony::symbol(*names[i], harmony::spell_within(names[i]->root, runs_on ? -5 : 5)),
                  runs_on ? "C" : "F#m9");
      }
    }
}

}  // namespace
}  // namespace undersong::listen
