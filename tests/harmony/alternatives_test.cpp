#include "daemon/harmony/alternatives.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <set>
#include <string>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

Alternatives ask(std::initializer_list<int> melody, Wishes wishes = {}, std::optional<Key> key = std::nullopt,
                 std::optional<Chord> previous = std::nullopt) {
  Question question;
  for (int note : melody) question.melody.push_back(Pitch(note));
  question.key = key;
  question.previous = previous;
  question.wishes = wishes;
  Alternatives out;
  const Hands hands;
  rank_alternatives(question, &hands, out);
  return out;
}

TEST(Alternatives, NothingHeldOffersNothing) { EXPECT_TRUE(ask({}).empty()); }

// Common practice, no source: what a held note can be, on all twelve roots.
TEST(Alternatives, EveryHeldNoteFindsItsTwelveDegrees) {
  struct Want {
    int interval;
    Degree degree;
    Family family;
  };
  const Want kWanted[] = {{0, {1, 0}, Family::kMajor},     {0, {1, 0}, Family::kMinor},  {11, {7, 0}, Family::kMajor},
                          {10, {7, -1}, Family::kMinor},   {9, {6, 0}, Family::kMajor},  {8, {5, 1}, Family::kDominant},
                          {7, {5, 0}, Family::kMajor},     {7, {5, 0}, Family::kMinor},  {6, {11, 1}, Family::kDominant},
                          {5, {11, 0}, Family::kMinor},    {4, {3, 0}, Family::kMajor},  {3, {3, -1}, Family::kMinor},
                          {2, {9, 0}, Family::kMajor},     {1, {9, -1}, Family::kDominant}};
  for (int note = 55; note <= 90; ++note)
    for (int tonic = -1; tonic < 12; ++tonic) {
      const auto list = ask({note}, {}, tonic < 0 ? std::nullopt : std::optional(Key{PitchClass(tonic), Mode::kMinor}));
      for (const Want& want : kWanted) {
        const PitchClass root(note - want.interval);
        const bool there = std::any_of(list.begin(), list.end(), [&](const Alternative& a) {
          return a.chord.root == root && row(a.chord.quality).family == want.family && a.degrees[0] == want.degree;
        });
        EXPECT_TRUE(there) << note << " as " << text(want.degree);
      }
    }
}

TEST(Alternatives, AllTwelveRootsAreOfferedForOneNoteAndTheListIsRanked) {
  for (int note = 48; note < 96; ++note) {
    const auto list = ask({note});
    std::set<int> roots;
    for (std::size_t i = 0; i < list.size(); ++i) {
      roots.insert(list[i].chord.root.value());
      if (i > 0) {
          EXPECT_GE(list[i - 1].score, list[i].score);
        }
    }
    EXPECT_EQ(roots.size(), 12u);
    EXPECT_GE(list.size(), 24u);
  }
}

TEST(Alternatives, EveryVoicingIsPlayableAndKeepsTheMelodyOnTop) {
  for (int note = 50; note < 100; ++note)
    for (int second : {0, 3, 7, 12}) {
      if (note - second < 48) continue;  // no room for a bass below
      const auto list = second ? ask({note, note - second}) : ask({note});
      for (const Alternative& offered : list) {
        const auto& [left, right, move] = offered.voicing;
        ASSERT_FALSE(right.empty());
        EXPECT_EQ(right.back().value(), note);
        EXPECT_LE(right.back().value() - right.front().value(), kHandSpan);
        if (!left.empty()) {
          EXPECT_LE(left.back().value() - left.front().value(), kHandSpan);
          EXPECT_LT(left.back().value(), right.front().value());
          EXPECT_EQ(left.front().pitch_class(), offered.chord.bass);
        }
        // No mud: neighbours below the low interval limit stand wide apart.
        std::vector<int> all;
        for (Pitch p : left) all.push_back(p.value());
        for (Pitch p : right) all.push_back(p.value());
        for (std::size_t i = 1; i < all.size(); ++i) {
          EXPECT_LT(all[i - 1], all[i]);
          const int gap = all[i] - all[i - 1];
          if (note >= 60 && all[i] < 48) {  // a lower melody leaves no other place
            EXPECT_GE(gap, 5) << symbol(offered.chord, offered.root_name) << " under " << note;
          }
        }
        // Third (or suspension) and seventh are there where hands have room.
        if (note >= 64 && row(offered.chord.quality).harte == "7") {
          const auto has = [&](int tone) {
            return std::any_of(all.begin(), all.end(), [&](int p) { return (p - offered.chord.root.value()) % 12 == tone; });
          };
          EXPECT_TRUE(has(4) && has(10));
        }
      }
    }
}

TEST(Alternatives, AWishNeverMovesTheTopFiveTheOtherWay) {
  const auto mean = [](const Alternatives& list, auto value) {
    float sum = 0;
    for (std::size_t i = 0; i < 5; ++i) sum += value(list[i]);
    return sum / 5;
  };
  const Chord before{PitchClass(7), quality("7"), PitchClass(7)};
  for (int note = 60; note < 84; ++note)
    for (int tonic : {0, 3, 8}) {
      const Key key{PitchClass(tonic), Mode::kMajor};
      float bright = -10, tense = -10, surprise = -10;
      for (float wish = -1; wish <= 1.01f; wish += 0.25f) {
        const float b = mean(ask({note}, {wish, 0, 0}, key, before), [](const Alternative& a) { return a.dark_bright; });
        const float t = mean(ask({note}, {0, wish, 0}, key, before), [](const Alternative& a) { return a.resolved_tense; });
        const float s = mean(ask({note}, {0, 0, wish}, key, before), [](const Alternative& a) { return 1 - a.familiar; });
        EXPECT_GE(b, bright - 1e-5f);
        EXPECT_GE(t, tense - 1e-5f);
        EXPECT_GE(s, surprise - 1e-5f);
        bright = b, tense = t, surprise = s;
      }
    }
}

TEST(Alternatives, WhatWasTriedIsMarked) {
  Question question;
  question.melody.push_back(Pitch(72));
  question.tried.add({PitchClass(5), quality("maj9"), PitchClass(5)});
  Alternatives list;
  rank_alternatives(question, nullptr, list);
  int marked = 0;
  for (const Alternative& offered : list) {
    EXPECT_EQ(offered.tried, offered.chord.root == PitchClass(5) && row(offered.chord.quality).family == Family::kMajor);
    marked += offered.tried;
  }
  EXPECT_GT(marked, 0);
}

TEST(Alternatives, ReasonsAreSentencesForPeople) {
  Question question;
  question.melody.push_back(Pitch(67));
  question.key = Key{PitchClass(0), Mode::kMajor};
  question.previous = Chord{PitchClass(2), quality("min7"), PitchClass(2)};
  Alternatives list;
  rank_alternatives(question, nullptr, list);
  const auto g7 = std::find_if(list.begin(), list.end(), [](const Alternative& a) { return a.chord.root == PitchClass(7); });
  ASSERT_NE(g7, list.end());
  std::string reason;
  append_reason(reason, *g7, question.melody, question.previous);
  EXPECT_TRUE(reason.starts_with("G is its root; root falls a fifth; ")) << reason;
}

}  // namespace
}  // namespace undersong::harmony
