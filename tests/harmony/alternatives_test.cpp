// Over 400 lines: all tests ask one ranking and share its helpers.
#include "daemon/harmony/alternatives.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <random>
#include <set>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/offered.h"

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

TEST(Alternatives, NothingHeldOffersNothing) {
  EXPECT_TRUE(ask({}).empty());
}

// Common practice, no source: the degrees that a held note can be, on all twelve roots.
TEST(Alternatives, EveryHeldNoteFindsItsTwelveDegrees) {
  struct Want {
    int interval;
    Degree degree;
    Family family;
  };
  const Want kWanted[] = {
      {0, {1, 0}, Family::kMajor},   {0, {1, 0}, Family::kMinor},    {11, {7, 0}, Family::kMajor},
      {10, {7, -1}, Family::kMinor}, {9, {6, 0}, Family::kMajor},    {8, {5, 1}, Family::kDominant},
      {7, {5, 0}, Family::kMajor},   {7, {5, 0}, Family::kMinor},    {6, {11, 1}, Family::kDominant},
      {5, {11, 0}, Family::kMinor},  {4, {3, 0}, Family::kMajor},    {3, {3, -1}, Family::kMinor},
      {2, {9, 0}, Family::kMajor},   {1, {9, -1}, Family::kDominant}};
  for (int note = 55; note <= 90; ++note)
    for (int tonic = -1; tonic < 12; ++tonic) {
      const auto list =
          ask({note}, {}, tonic < 0 ? std::nullopt : std::optional(Key{PitchClass(tonic), Mode::kMinor}));
      for (const Want& want : kWanted) {
        const PitchClass root(note - want.interval);
        const bool there = std::any_of(list.begin(), list.end(), [&](const Alternative& a) {
          return a.chord.root == root && row(a.chord.quality).family == want.family &&
                 a.degrees[0] == want.degree;
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
      if (note - second < 48) continue;  // no room for a bass below the second note
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
        // No mud: below the low interval limit, neighbours stand wide apart.
        std::vector<int> all;
        for (Pitch p : left) all.push_back(p.value());
        for (Pitch p : right) all.push_back(p.value());
        for (std::size_t i = 1; i < all.size(); ++i) {
          EXPECT_LT(all[i - 1], all[i]);
          const int gap = all[i] - all[i - 1];
          if (note >= 60 && all[i] < 48) {  // under a lower melody there may be no other place
            EXPECT_GE(gap, 5) << symbol(offered.chord, offered.root_name) << " under " << note;
          }
        }
        // The third (or suspension) and the seventh are there if the hands have room.
        if (note >= 64 && row(offered.chord.quality).harte == "7") {
          const auto has = [&](int tone) {
            return std::any_of(all.begin(), all.end(),
                               [&](int p) { return (p - offered.chord.root.value()) % 12 == tone; });
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
        const float b =
            mean(ask({note}, {wish, 0, 0}, key, before), [](const Alternative& a) { return a.dark_bright; });
        const float t = mean(ask({note}, {0, wish, 0}, key, before),
                             [](const Alternative& a) { return a.resolved_tense; });
        const float s =
            mean(ask({note}, {0, 0, wish}, key, before), [](const Alternative& a) { return 1 - a.familiar; });
        EXPECT_GE(b, bright - 1e-5f);
        EXPECT_GE(t, tense - 1e-5f);
        EXPECT_GE(s, surprise - 1e-5f);
        bright = b, tense = t, surprise = s;
      }
    }
}

TEST(Alternatives, WhatWasTriedIsMarkedWithHowOften) {
  Question question;
  question.melody.push_back(Pitch(72));
  const Chord tried{PitchClass(5), quality("maj9"), PitchClass(5)};
  for (int i = 0; i < 3; ++i) question.tried.add(tried);
  Alternatives list;
  rank_alternatives(question, nullptr, list);
  int marked = 0;
  for (const Alternative& offered : list) {
    EXPECT_EQ(offered.tried, offered.chord == tried ? 3 : 0) << symbol(offered.chord, offered.root_name);
    marked += offered.tried > 0;
  }
  EXPECT_EQ(marked, 1);
}

TEST(Alternatives, ReasonsAreSentencesForPeople) {
  Question question;
  question.melody.push_back(Pitch(67));
  question.key = Key{PitchClass(0), Mode::kMajor};
  question.previous = Chord{PitchClass(2), quality("min7"), PitchClass(2)};
  Alternatives list;
  rank_alternatives(question, nullptr, list);
  const auto g7 = std::find_if(list.begin(), list.end(),
                               [](const Alternative& a) { return a.chord.root == PitchClass(7); });
  ASSERT_NE(g7, list.end());
  std::string reason;
  append_reason(reason, *g7, question.melody, {NoteName(1)});
  EXPECT_EQ(reason.substr(0, reason.find(" from ")), row(g7->chord.quality).family == Family::kDominant
                                                         ? "G is its root; completes the ii-V"
                                                         : "G is its root; falling fifth")
      << reason;
}

std::string root_in(const char* key, int root, const char* kind) {
  const PitchClass pc(root);
  return text(root_name_in({pc, quality(kind), pc}, parse_key(key)));
}

// Common practice, no source.
TEST(RootNames, DiminishedChordsAreThoseOfLeadingTones) {
  EXPECT_EQ(root_in("C", 8, "dim7"), "G#");  // to Am
  EXPECT_EQ(root_in("C", 1, "dim7"), "C#");  // to Dm
  EXPECT_EQ(root_in("C", 3, "dim7"), "D#");  // to Em
  EXPECT_EQ(root_in("C", 6, "hdim7"), "F#");
  EXPECT_EQ(root_in("Am", 8, "dim7"), "G#");
  EXPECT_EQ(root_in("Cm", 11, "dim7"), "B");
  EXPECT_EQ(root_in("Eb", 6, "dim7"), "F#");  // to Gm
  EXPECT_EQ(root_in("Eb", 2, "hdim7"), "D");
  EXPECT_EQ(root_in("Db", 0, "dim7"), "C");
  EXPECT_EQ(root_in("F#m", 5, "dim7"), "E#");  // its own leading tone
}

TEST(RootNames, SecondaryDominantsAreSpelledAsSuch) {
  EXPECT_EQ(root_in("B", 10, "7"), "A#");  // to D#m
  EXPECT_EQ(root_in("B", 1, "7"), "C#");   // to F#
  EXPECT_EQ(root_in("E", 3, "7"), "D#");
  EXPECT_EQ(root_in("A", 8, "7(b9)"), "G#");
  EXPECT_EQ(root_in("F#m", 8, "7"), "G#");
  EXPECT_EQ(root_in("C", 11, "7"), "B");
  EXPECT_EQ(root_in("C", 1, "7"), "Db");  // for G7
  EXPECT_EQ(root_in("Ebm", 10, "7"), "Bb");
}

TEST(RootNames, NoneHasTwoAccidentalsOrIsFbOrBSharp) {
  for (int tonic = 0; tonic < 12; ++tonic)
    for (const Mode mode : {Mode::kMajor, Mode::kMinor})
      for (int root = 0; root < 12; ++root)
        for (std::size_t i = 0; i < chord_vocabulary().size(); ++i) {
          const Chord chord{PitchClass(root), Quality(static_cast<int>(i)), PitchClass(root)};
          const NoteName name = root_name_in(chord, Key{PitchClass(tonic), mode});
          EXPECT_EQ(name.pitch_class(), chord.root);
          EXPECT_GE(name.fifths(), -7) << text(name);
          EXPECT_LE(name.fifths(), 11) << text(name);
        }
}

// ---- over many random questions, from a fixed seed

class Draw {
 public:
  explicit Draw(unsigned seed) : engine_(seed) {}
  int upto(int n) { return static_cast<int>(engine_() % static_cast<unsigned>(n + 1)); }
  Chord chord() {
    const PitchClass root(upto(11));
    return {root, Quality(upto(static_cast<int>(chord_vocabulary().size()) - 1)),
            upto(3) ? root : PitchClass(upto(11))};
  }
  Question question() {
    Question out;
    out.melody.push_back(Pitch(55 + upto(30)));
    if (upto(2) == 0) out.melody.push_back(Pitch(55 + upto(30)));
    if (upto(3)) out.key = Key{PitchClass(upto(11)), upto(1) ? Mode::kMajor : Mode::kMinor};
    if (upto(4)) {
      out.previous = chord();
      for (int i = upto(3); i > 0; --i) out.earlier.push_back(chord());
    }
    for (int i = upto(2) ? 0 : upto(8); i > 0; --i)
      out.phrase.add(PitchClass(upto(11)), 0.25f * static_cast<float>(1 + upto(7)));
    for (int i = upto(3); i > 0; --i) out.liked.add(chord(), upto(3));
    out.wishes = {0.25f * static_cast<float>(upto(8) - 4), 0.25f * static_cast<float>(upto(8) - 4),
                  0.25f * static_cast<float>(upto(8) - 4)};
    if (upto(1)) out.wishes = {};
    return out;
  }

 private:
  std::mt19937 engine_;
};

TEST(Alternatives, StepByStepAWishMovesTheMeanOfTheTopFiveOneWayOnly) {
  Draw draw(20);
  Alternatives list;
  const Hands rest;
  TakeMemory take;
  for (int i = 0; i < 40; ++i)
    take.add(draw.chord(), PitchClass(draw.upto(11)), PitchClassSet(1u << draw.upto(11)));
  for (int round = 0; round < 400; ++round) {
    Question question = draw.question();
    if (draw.upto(1)) question.take = &take;
    const Hands* hands = draw.upto(3) ? nullptr : &rest;
    for (int axis = 0; axis < 3; ++axis) {
      const Wishes others = question.wishes;
      float before = -100;
      for (int step = -8; step <= 8; ++step) {
        const float wish = static_cast<float>(step) / 8;
        (axis == 0   ? question.wishes.brighter
         : axis == 1 ? question.wishes.tenser
                     : question.wishes.surprising) = wish;
        rank_alternatives(question, hands, list);
        float mean = 0;
        for (std::size_t i = 0; i < 5; ++i)
          mean += (axis == 0   ? list[i].dark_bright
                   : axis == 1 ? list[i].resolved_tense
                               : 1 - list[i].familiar) /
                  5;
        ASSERT_GE(mean, before - 1e-5f) << "round " << round << ", scale " << axis << ", wish " << wish;
        before = mean;
      }
      question.wishes = others;
    }
  }
}

TEST(Alternatives, EveryRootIsOfferedInOrderWhateverTheQuestion) {
  Draw draw(21);
  Alternatives list;
  for (int round = 0; round < 3000; ++round) {
    const Question question = draw.question();
    rank_alternatives(question, nullptr, list);
    std::set<int> roots;
    std::set<std::tuple<int, int, int>> chords;
    for (std::size_t i = 0; i < list.size(); ++i) {
      roots.insert(list[i].chord.root.value());
      chords.insert({list[i].chord.root.value(), list[i].chord.quality.row(), list[i].chord.bass.value()});
      ASSERT_TRUE(list[i].familiar >= 0 && list[i].familiar <= 1 && std::isfinite(list[i].score));
      if (i > 0) {
        ASSERT_GE(list[i - 1].score, list[i].score);
      }
    }
    // Every root on which some chord carries the held notes: 3 and 4 together, or b9 and 7, have none.
    for (int root = 0; root < 12; ++root) {
      std::set<std::size_t> intervals;
      for (const Pitch note : question.melody)
        intervals.insert(static_cast<std::size_t>(ascending(PitchClass(root), note.pitch_class())));
      bool carried = false;
      for (std::size_t i = 0; i < kOfferedCount; ++i)
        carried |= std::all_of(intervals.begin(), intervals.end(),
                               [&](std::size_t interval) { return offered().fit[interval][i] != kAvoid; });
      ASSERT_TRUE(!carried || roots.contains(root)) << root;
      const std::set<std::size_t> kThirdAndFourth{4, 5}, kFlatNineAndSeven{1, 11};
      ASSERT_TRUE(carried || intervals == kThirdAndFourth || intervals == kFlatNineAndSeven);
    }
    ASSERT_EQ(chords.size(), kMaxAlternatives);
  }
}

TEST(Alternatives, WithoutAWishTheFirstDozenDiffersInRootAndColour) {
  Draw draw(22);
  Alternatives list;
  for (int round = 0; round < 1500; ++round) {
    Question question = draw.question();
    question.wishes = {};
    rank_alternatives(question, nullptr, list);
    std::map<int, int> on_root;
    std::set<std::pair<int, QualityClass>> chords;
    for (std::size_t i = 0; i < 12; ++i) {
      ++on_root[list[i].chord.root.value()];
      chords.insert({list[i].chord.root.value(), quality_class(list[i].chord.quality)});
      if (question.previous) {
        EXPECT_NE(list[i].chord, *question.previous);
      }
    }
    EXPECT_EQ(chords.size(), 12u);
    EXPECT_GE(on_root.size(), 10u);
    for (const auto& [root, times] : on_root) EXPECT_LE(times, 2) << "root " << root;
  }
}

// The songs that were learnt are plain. Chords that rank high away from the familiar end must not be.
TEST(Alternatives, NinthsSuspensionsAndAlterationsStandHighAtTheNeutralAndSurprisingEnds) {
  const auto rich = [](const Alternative& offered) {
    const auto& made = row(offered.chord.quality);
    bool above = made.family == Family::kSuspended;
    for (Degree degree : made.degrees)
      above |=
          degree.number >= 9 || (degree.number == 5 && degree.alter != 0 && made.family == Family::kDominant);
    return above;
  };
  const auto triad = [](const Alternative& offered) {
    const auto text = row(offered.chord.quality).harte;
    return text == "maj" || text == "min";
  };
  Draw draw(23);
  Alternatives list;
  for (const float wish : {0.0f, 0.5f, 1.0f}) {
    int riches = 0, triads = 0, asked = 0;
    for (; asked < 200; ++asked) {
      Question question = draw.question();
      question.key = Key{PitchClass(draw.upto(11)), Mode::kMajor};
      question.wishes = {0, 0, wish};
      rank_alternatives(question, nullptr, list);
      for (std::size_t i = 0; i < 6; ++i) riches += rich(list[i]), triads += triad(list[i]);
    }
    EXPECT_GE(riches, asked * 3) << wish;       // half of the first six chords
    EXPECT_LE(triads * 10, asked * 6) << wish;  // a tenth of them
  }
}

TEST(Alternatives, WhatThePlayerCameBackToRises) {
  Draw draw(24);
  Alternatives list;
  int rose = 0, fell = 0;
  for (int round = 0; round < 200; ++round) {
    Question question = draw.question();
    question.liked.clear();
    question.wishes = {};
    rank_alternatives(question, nullptr, list);
    const Chord chosen = list[static_cast<std::size_t>(13 + draw.upto(9))].chord;
    if (chosen.bass != chosen.root) continue;
    const auto place = [&] {
      for (std::size_t i = 0; i < list.size(); ++i)
        if (list[i].chord == chosen) return i;
      return list.size();
    };
    const std::size_t before = place();
    question.liked.add(chosen, 4);
    rank_alternatives(question, nullptr, list);
    rose += place() < before;
    fell += place() > before;
  }
  EXPECT_GE(rose, 120);
  EXPECT_LE(fell, 10);  // where the place of a chord of its family in the dozen moves
}

TEST(Alternatives, APhraseWeighsByHowLongItsNotesSounded) {
  // G is on top; the phrase under it is either F A C or E G C.
  const auto place_of = [](std::initializer_list<int> phrase, PitchClass root) {
    Question question;
    question.melody.push_back(Pitch(79));
    question.key = Key{PitchClass(0), Mode::kMajor};
    question.wishes.surprising = -1;
    for (int note : phrase) question.phrase.add(PitchClass(note), 1);
    Alternatives list;
    rank_alternatives(question, nullptr, list);
    for (std::size_t i = 0; i < list.size(); ++i)
      if (list[i].chord.root == root) return i;
    return list.size();
  };
  EXPECT_LT(place_of({5, 9, 0, 5, 7}, PitchClass(5)), place_of({4, 7, 0, 7, 7}, PitchClass(5)));
  EXPECT_LT(place_of({4, 7, 0, 7, 7}, PitchClass(0)), place_of({5, 9, 0, 5, 7}, PitchClass(0)));
}

TEST(TakeMemory, WhatFollowedEarlierUnderTheSameNotesIsExpectedAgain) {
  TakeMemory take;
  const Chord a{PitchClass(0), quality("maj7"), PitchClass(0)},
      b{PitchClass(8), quality("min7"), PitchClass(8)};
  const PitchClassSet over_a(1u << 4), over_b(1u << 11);
  for (int i = 0; i < 3; ++i) {
    take.add(a, PitchClass(4), over_a);
    take.add(b, PitchClass(11), over_b);
  }
  take.add(a, PitchClass(4), over_a);
  Question question;
  question.melody.push_back(Pitch(71));
  question.key = Key{PitchClass(0), Mode::kMajor};
  question.previous = a;
  question.wishes.surprising = -1;
  Alternatives list;
  rank_alternatives(question, nullptr, list);
  EXPECT_FALSE(list[0].chord.root == b.root);
  question.take = &take;
  rank_alternatives(question, nullptr, list);
  EXPECT_TRUE(list[0].chord.root == b.root && list[0].chord.quality == b.quality);
}

TEST(TakeMemory, AnEndlessTakeForgetsTheOldest) {
  TakeMemory take;
  Draw draw(25);
  for (int i = 0; i < 5000; ++i) take.add(draw.chord(), std::nullopt, {});
  ChordScores scores{};
  take.add_scores(PitchClass(0), {}, RankingTable::standard().idiom[0].take, scores);
  for (float score : scores) EXPECT_TRUE(std::isfinite(score));
}

// The chords before a question in C, newest first.
ChordsBefore heard(std::initializer_list<std::pair<int, const char*>> chords) {
  ChordsBefore before;
  for (const auto& [root, name] : chords)
    before.push_back({PitchClass(root), quality(name), PitchClass(root)});
  return before;
}
float share(const IdiomShares& shares, Idiom idiom) {
  return shares[static_cast<std::size_t>(idiom)];
}

TEST(Idioms, SharesMoveWithTheChordsHeard) {
  const std::optional<Key> key = Key{PitchClass(0), Mode::kMajor};
  const RankingTable& table = RankingTable::standard();
  const auto shares_after = [&](const ChordsBefore& before) {
    const IdiomShares shares = idiom_shares(key, before, nullptr, std::nullopt, table);
    EXPECT_NEAR(shares[0] + shares[1] + shares[2], 1, 1e-5f);
    return shares;
  };
  const IdiomShares nothing = shares_after({});
  const IdiomShares cadence = shares_after(heard({{7, "7"}, {2, "min7"}, {0, "maj7"}, {9, "min7"}}));
  const IdiomShares loop = shares_after(heard({{7, "maj"}, {5, "maj"}, {9, "min"}, {7, "sus4"}}));
  EXPECT_GT(share(cadence, Idiom::kJazz), share(nothing, Idiom::kJazz));
  EXPECT_GT(share(cadence, Idiom::kJazz), 0.5f);
  EXPECT_GT(share(loop, Idiom::kPop), 0.5f);
}

TEST(Idioms, TheTakeTellsMoreThanItsLastChords) {
  const std::optional<Key> key = Key{PitchClass(0), Mode::kMajor};
  TakeMemory take;
  const auto turn = heard({{7, "7"}, {2, "min7"}, {9, "min7"}, {0, "maj7"}});
  for (int round = 0; round < 6; ++round)
    for (std::size_t i = turn.size(); i-- > 0;) take.add(turn[i], std::nullopt, {});
  // A triad at the end changes little.
  take.add({PitchClass(5), quality("maj"), PitchClass(5)}, std::nullopt, {});
  const IdiomShares shares =
      idiom_shares(key, heard({{5, "maj"}}), &take, std::nullopt, RankingTable::standard());
  EXPECT_GT(share(shares, Idiom::kJazz), 0.8f);
}

TEST(Idioms, ThePlayerLeansTheList) {
  Question question;
  question.melody.push_back(Pitch(76));
  question.key = Key{PitchClass(0), Mode::kMajor};
  question.previous = Chord{PitchClass(7), quality("7"), PitchClass(7)};
  question.wishes.surprising = -1;
  Alternatives list;
  const auto place_of_major_seventh = [&](std::optional<Idiom> lean) {
    question.lean = lean;
    rank_alternatives(question, nullptr, list);
    EXPECT_EQ(list[0].chord.root, PitchClass(0));  // the cadence resolves in each
    return std::find_if(list.begin(), list.end(),
                        [](const Alternative& a) {
                          return a.chord.root == PitchClass(0) && a.chord.quality == quality("maj7");
                        }) -
           list.begin();
  };
  EXPECT_LT(place_of_major_seventh(Idiom::kJazz), place_of_major_seventh(Idiom::kSongbook));
  for (std::size_t i = 0; i < kIdioms; ++i) {
    const auto idiom = static_cast<Idiom>(i);
    const ChordsBefore before{*question.previous};
    EXPECT_GT(
        share(idiom_shares(question.key, before, nullptr, idiom, RankingTable::standard()), idiom),
        share(idiom_shares(question.key, before, nullptr, std::nullopt, RankingTable::standard()), idiom));
  }
}

TEST(RankingTable, WhatIsNoTableIsRefused) {
  EXPECT_FALSE(RankingTable::from({}));
  const std::vector<std::int32_t> zeros(1000), version{1, 2, 3};
  EXPECT_FALSE(RankingTable::from(zeros));
  EXPECT_FALSE(RankingTable::from(version));
}

}  // namespace
}  // namespace undersong::harmony
