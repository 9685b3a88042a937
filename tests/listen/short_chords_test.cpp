// Does the display name what the hands play? Here chords that are let go at once, a bass before its chord,
// and chords under a melody note that is held.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <iterator>
#include <numeric>
#include <random>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/analysis.h"
#include "tests/listen/hands.h"
#include "tests/listen/voicings.h"

namespace undersong::listen {
namespace {

TEST(ShortChords, AShortChordIsNamedAsIfItWereHeld) {
  for (const int length : {15, 40, 70, 100, 150, 250})
    for (const int every : {350, 700, 1500}) {
      SCOPED_TRACE(std::to_string(length) + " of " + std::to_string(every) + " ms");
      expect_mostly(
          one_after_another(every,
                            [&](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
                              stab(out, at, length, voicing.keys, chance);
                              return at + 12;
                            }),
          0.95);
    }
}

TEST(ShortChords, AShortChordMayBeLaidDownInTwoParts) {
  for (const int apart : {40, 120}) {
    SCOPED_TRACE(apart);
    expect_mostly(
        one_after_another(900,
                          [&](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
                            const auto middle =
                                voicing.keys.begin() + static_cast<std::ptrdiff_t>(voicing.keys.size() / 2);
                            stab(out, at, apart + 80, {voicing.keys.begin(), middle}, chance);
                            stab(out, at + apart, 80, {middle, voicing.keys.end()}, chance);
                            return at + apart + 12;
                          }),
        0.95);
  }
}

// A bass on the beat and the rest of the chord after it, once or twice, as in a march or a waltz.
Score bass_then_chord(int apart, int times, int bass_length, int chord_length) {
  return one_after_another(
      apart * (times + 1), [&](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
        stab(out, at, bass_length, {voicing.keys[0]}, chance);
        for (int n = 1; n <= times; ++n)
          stab(out, at + apart * n, chord_length, {voicing.keys.begin() + 1, voicing.keys.end()}, chance);
        return at + apart * times - 70;
      });
}

TEST(ShortChords, AShortBassBelongsToTheChordsAfterIt) {
  for (const int apart : {300, 400, 600})
    for (const int times : {1, 2}) {
      SCOPED_TRACE(std::to_string(times) + " after " + std::to_string(apart) + " ms");
      for (const auto& [bass, chord] : {std::pair(120, 120), {apart + 60, 120}, {120, apart - 60}}) {
        SCOPED_TRACE(std::to_string(bass) + " and " + std::to_string(chord) + " ms long");
        expect_mostly(bass_then_chord(apart, times, bass, chord), 0.95);
      }
    }
}

TEST(ShortChords, ABassThatThePedalKeepsBelongsToTheChordsOverIt) {
  Score sum;
  for (unsigned seed = 1; seed <= 3; ++seed)
    for (const PlayedVoicing& voicing : played_voicings()) {
      std::mt19937 chance(seed);
      Playing playing;
      stab(playing, 500, 200, {voicing.keys[0]}, chance);
      stab(playing, 1500, 200, {voicing.keys.begin() + 1, voicing.keys.end()}, chance);
      stab(playing, 2500, 200, {voicing.keys.begin() + 1, voicing.keys.end()}, chance);
      const auto names = shown(playing, {1900, 2900}, {{560, true}, {3500, false}});
      for (const auto& name : names) {
        ++sum.spots;
        sum.accepted += name && accepted(*name, voicing);
      }
    }
  EXPECT_GE(sum.accepted, 0.95 * sum.spots);
}

TEST(ShortChords, ABassThatIsLetGoUnderAHeldChordLeavesTheName) {
  std::mt19937 chance(3);
  Playing playing;
  strike(playing, 500, 1000, {38}, chance);
  strike(playing, 800, 4000, {60, 64, 67}, chance);
  std::vector<std::string> names;
  for (const auto& name : shown(playing, {1300, 2000})) names.push_back(text_of(*name));
  EXPECT_EQ(names, (std::vector<std::string>{"D9sus4", "C"}));
}

TEST(ShortChords, ALowNoteLongBeforeIsNoBass) {
  std::mt19937 chance(3);
  Playing playing;
  strike(playing, 500, 200, {38}, chance);
  strike(playing, 1600, 1000, {60, 64, 67}, chance);
  const auto name = shown(playing, {2500})[0];
  EXPECT_EQ(text_of(*name), "C");
}

// One bar of four beats: bass, chord, bass, chord, under one long melody note, or under one that is struck on
// each beat.
Score bar_under_a_tune(int apart, int length, bool on_each_beat) {
  return one_after_another(
      apart * 4, [&](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
        const int top = *std::max_element(voicing.keys.begin(), voicing.keys.end());
        std::vector<int> middle;
        for (const int key : voicing.keys)
          if (key != top && key != voicing.keys[0]) middle.push_back(key);
        if (middle.empty()) middle.push_back(voicing.keys[0] + 12);
        for (int beat = 0; beat < 4; ++beat) {
          if (on_each_beat || beat == 0)
            out.push_back({at + beat * apart, at + (on_each_beat ? beat + 1 : 4) * apart - 30, top});
          stab(out, at + beat * apart, length, beat % 2 == 0 ? std::vector{voicing.keys[0]} : middle, chance);
        }
        return at + apart * 3 - 70;
      });
}

TEST(ShortChords, AShortBassBelongsToTheChordsAfterItUnderATuneToo) {
  for (const int apart : {350, 500})
    for (const int length : {100, 300}) {
      SCOPED_TRACE(std::to_string(length) + " of " + std::to_string(apart) + " ms");
      const Score held = bar_under_a_tune(apart, length, false),
                  struck = bar_under_a_tune(apart, length, true);
      EXPECT_GE(held.accepted, 0.80 * held.spots) << held.refused;
      EXPECT_GE(struck.accepted, 0.95 * struck.spots) << struck.refused;
    }
}

// Two melody notes, or one, are held, and the left hand tries chords under them.
TEST(ShortChords, AChordUnderAHeldMelodyNoteIsNamedFromItsKeys) {
  for (const int length : {100, 300, 1350})
    for (const int before : {0, 800}) {
      SCOPED_TRACE(std::to_string(length) + " ms, " + std::to_string(before) + " ms after the melody note");
      const Score sum = one_after_another(
          3600 + before, [&](Playing& out, int at, const PlayedVoicing& voicing, std::mt19937& chance) {
            const int top = *std::max_element(voicing.keys.begin(), voicing.keys.end());
            std::vector<int> rest;
            std::copy_if(voicing.keys.begin(), voicing.keys.end(), std::back_inserter(rest),
                         [&](int key) { return key != top; });
            out.push_back({at, at + 3560 + before, top});
            for (int n = 0; n < 2; ++n) stab(out, at + before + 1500 * n, length, rest, chance);
            return at + before + 1512;
          });
      EXPECT_GE(sum.accepted, 0.96 * sum.spots) << sum.refused;
    }
}

// Two melody notes are held, and every root is tried under them.
TEST(ShortChords, ARootUnderTwoHeldMelodyNotesPromisesNothingThatDoesNotSound) {
  for (const int length : {120, 300, 1300})
    for (const int apart : {3, 4, 5, 7, 8, 9}) {
      SCOPED_TRACE(std::to_string(length) + " ms under notes " + std::to_string(apart) + " semitones apart");
      std::mt19937 chance(5);
      std::vector<int> roots(12);
      std::iota(roots.begin(), roots.end(), 36);
      std::shuffle(roots.begin(), roots.end(), chance);
      Playing playing{{500, 19'000, 67}, {505, 19'000, 67 + apart}};
      std::vector<int> times;
      for (std::size_t i = 0; i < roots.size(); ++i) {
        const int at = 1300 + 1500 * static_cast<int>(i);
        stab(playing, at, length, {roots[i]}, chance);
        times.push_back(at + 400);
      }
      const auto names = shown(playing, times);
      for (std::size_t i = 0; i < names.size(); ++i) {
        ASSERT_TRUE(names[i]);
        EXPECT_FALSE(contradicts(*names[i], {roots[i], 67, 67 + apart}))
            << text_of(*names[i]) << " over " << roots[i];
      }
    }
}

TEST(ShortChords, ARootThatDoublesAMelodyNoteIsNamedWithTheOther) {
  const std::vector<std::tuple<int, int, std::string>> cases{
      {43, 71, "G"}, {47, 71, "G/B"}, {43, 70, "Gm"}, {43, 74, "G5"}, {43, 75, "Eb/G"}, {40, 76, "Em"}};
  for (const auto& [root, above, expected] : cases) {
    std::mt19937 chance(5);
    // The root before it belongs to another chord, which leaves no trace.
    Playing playing{{500, 9000, 67}, {505, 9000, above}};
    stab(playing, 1300, 600, {42}, chance);
    stab(playing, 2800, 600, {root}, chance);
    const auto name = shown(playing, {3200})[0];
    ASSERT_TRUE(name);
    EXPECT_EQ(text_of(*name), expected);
  }
}

TEST(ShortChords, AnAlternateBassMakesNoInversion) {
  std::mt19937 chance(3);
  Playing playing;
  std::vector<int> times;
  for (int beat = 0; beat < 8; ++beat) {
    stab(playing, 500 + 400 * beat, 120,
         beat % 2 == 1 ? std::vector{64, 67, 72} : std::vector{beat % 4 == 0 ? 36 : 31}, chance);
    times.push_back(500 + 400 * beat + 390);
  }
  // The same, laid down and held, is an inversion.
  stab(playing, 3700, 1900, {31}, chance);
  stab(playing, 4000, 1600, {64, 67, 72}, chance);
  times.push_back(5500);
  const auto names = shown(playing, times);
  for (std::size_t i = 1; i < names.size(); ++i) {
    ASSERT_TRUE(names[i]);
    EXPECT_EQ(text_of(*names[i]), i < 8 ? "C" : "C/G") << i;
  }
}

// Bass and chord in turn, the bass in octaves or not, root and fifth in turn or not, and a tune above that
// walks up and down the scale. The chord is one, so its name stays from the first chord to the end.
TEST(ShortChords, ATuneThatMovesOverABeatingLeftHandRenamesNothing) {
  const std::array<int, 8> walk{7, 9, 11, 12, 14, 12, 11, 9};  // semitones above the root, of a major scale
  int spots = 0, right = 0, changes = 0;
  std::string wrong;
  for (const int apart : {250, 330, 420})
    for (const bool octaves : {false, true})
      for (const bool fifth : {false, true})
        for (int root = 0; root < 12; ++root) {
          std::mt19937 chance(static_cast<unsigned>(root));
          Playing playing;
          std::vector<int> times;
          for (int beat = 0; beat < 8; ++beat) {
            const int at = 500 + apart * beat, bass = 36 + root - (fifth && beat % 4 == 2 ? 5 : 0);
            std::vector<int> keys{bass};
            if (beat % 2 == 1)
              keys = {48 + root, 52 + root, 55 + root};
            else if (octaves)
              keys.push_back(bass + 12);
            stab(playing, at, apart / 2, keys, chance);
            stab(playing, at, apart * 8 / 10, {72 + root + walk[static_cast<std::size_t>(beat)] - 12},
                 chance);
            if (beat > 0) times.push_back(at + apart - 20);
          }
          const auto names = shown(playing, times);
          for (std::size_t i = 0; i < names.size(); ++i) {
            ASSERT_TRUE(names[i]);
            ++spots;
            const bool plain = names[i]->root.value() == root && names[i]->bass == names[i]->root;
            right += plain;
            changes += i > 0 && *names[i] != *names[i - 1];
            if (!plain) wrong += ' ' + text_of(*names[i]);
          }
        }
  EXPECT_GE(right, 0.95 * spots) << wrong;
  EXPECT_LE(changes, 0.15 * spots);
}

}  // namespace
}  // namespace undersong::listen
