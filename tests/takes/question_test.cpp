#include "daemon/takes/question.h"

#include <gtest/gtest.h>

#include <random>
#include <string>

#include "daemon/takes/question_words.h"
#include "protocol/question_examples.h"

namespace undersong::takes {
namespace {

using namespace std::chrono_literals;
constexpr Day kToday = 2026y / 11 / 26;  // a Thursday

std::string understood(std::string_view text) {
  const auto question = read_question(text, kToday);
  return question ? in_words(*question) : "! " + question.error().message;
}

TEST(Question, IsUnderstoodAsMusiciansWriteIt) {
  const std::pair<const char*, const char*> kAsked[] = {
      {"Db under G", "any chord on Db under G"},
      {"db UNDER g", "any chord on Db under G"},
      {"D♭ under g", "any chord on Db under G"},
      {"D flat under G", "any chord on Db under G"},
      {"d-flat under the note G", "any chord on Db under G"},
      {"G over Db", "any chord on Db under G"},
      {"Dbmaj7 under G", "maj7 on Db under G"},
      {"DbM7 under G", "maj7 on Db under G"},
      {"DbΔ7 under G", "maj7 on Db under G"},
      {"Db:maj7 under G", "maj7 on Db under G"},
      {"D flat major seventh under G", "major seventh on Db under G"},
      {"B flat m7", "m7 on Bb"},
      {"minor under A", "minor under A"},
      {"A minor under G", "minor on A under G"},
      {"a minor under G", "minor under G"},
      {"any dominant on Bb under the 9", "dominant on Bb under its 9"},
      {"any chord on F# under b", "any chord on F# under B"},
      {"#11 over a major seventh", "major seventh under its #11"},
      {"sharp eleven over major 7", "major seventh under its #11"},
      {"flat nine over any dominant", "dominant under its b9"},
      {"the root over half diminished", "half-diminished under its 1"},
      {"b7 over Cm7", "m7 on C under its b7"},
      {"B7 under D", "7 on B under D"},
      {"b9", "any chord under its b9"},
      {"B9", "9 on B"},
      {"note G", "any chord under G"},
      {"Bb/D", "any chord on Bb with D in the bass"},
      {"Dm7 over G", "m7 on D with G in the bass"},
      {"exactly Cm7", "exactly m7 on C"},
      {"altered under Eb", "altered dominant under Eb"},
      {"Cm7 then F7 then Bbmaj7", "m7 on C, then 7 on F, then maj7 on Bb"},
      {"Cm7 F7 Bbmaj7", "m7 on C, then 7 on F, then maj7 on Bb"},
      {"Cm7 -> F7", "m7 on C, then 7 on F"},
      {"minor then up a fourth any dominant", "minor, then up a fourth to dominant"},
      {"Db under G in F minor", "any chord on Db under G, in F minor"},
      {"Db in the key of Fm", "any chord on Db, in F minor"},
      {"Db under G or A", "any chord on Db under G or A"},
      {"(Db or Gb) under G", "any chord on Db or Gb under G"},
      {"Db under G or Ab under A", "any chord on Db under G or any chord on Ab under A"},
      {"not Db and note G", "any chord under G, not (any chord on Db)"},
      {"today", "on 2026-11-26"},
      {"yesterday", "on 2026-11-25"},
      {"last week", "from 2026-11-16 to 2026-11-22"},
      {"this week", "from 2026-11-23 to 2026-11-29"},
      {"in March", "from 2026-03-01 to 2026-03-31"},
      {"in December", "from 2025-12-01 to 2025-12-31"},
      {"in March 2024", "from 2024-03-01 to 2024-03-31"},
      {"last month", "from 2026-10-01 to 2026-10-31"},
      {"on Monday", "on 2026-11-23"},
      {"last 10 days", "from 2026-11-17 to 2026-11-26"},
      {"in 2025", "from 2025-01-01 to 2025-12-31"},
      {"2026-11-01 to 2026-11-20", "from 2026-11-01 to 2026-11-20"},
      {"from 2026-11-01 to 2026-11-20", "from 2026-11-01 to 2026-11-20"},
      {"since 2026-11-01", "since 2026-11-01"},
      {"before November", "until 2026-10-31"},
      {"Cm7 then F7 in Bb in March", "m7 on C, then 7 on F, in Bb, from 2026-03-01 to 2026-03-31"},
  };
  for (const auto& [asked, wanted] : kAsked) {
    EXPECT_EQ(understood(asked), wanted) << asked;
  }
}

TEST(Question, EveryExampleOfTheHelpIsUnderstood) {
  for (const auto& example : protocol::kQuestionExamples)
    EXPECT_TRUE(read_question(example.question, kToday)) << example.question;
}

TEST(Question, WhatIsNotUnderstoodIsSaidWithItsColumn) {
  const std::pair<const char*, const char*> kAsked[] = {
      {"", "The question is empty: ask for a chord under a note, such as Db under G."},
      {"Hmaj7 under G",
       "The word \"Hmaj7\" at column 1 is not understood: expected a chord, a kind of chord, a note, a "
       "degree, a key or days."},
      {"Db under", "The question ends after \"under\" at column 4: expected a melody note or a degree."},
      {"Db♭ under loud",
       "The word \"loud\" at column 11 is not understood: expected a melody note or a degree."},
      {"(Db under G", "The question ends after \"G\" at column 11: the bracket at column 1 is not closed."},
      {"Db) under G",
       "The word \")\" at column 3 is not understood: expected a chord, a kind of chord, a note, a degree, "
       "a key or days."},
      {"Cm7 then F7 and G under the 9",
       "The word \"G\" at column 17 stands beside a sequence, where only a key or days are possible: put "
       "chords and notes into a step, as in Cm7 under G then F7."},
      {"since forever",
       "The word \"forever\" at column 7 is not understood: expected a day, such as 2026-11-05, yesterday "
       "or March."},
      {"2026-11-20 to 2026-11-01", "The days at column 1 end before they begin: 2026-11-20 to 2026-11-01."},
      {"Cm7 then up a mile F7",
       "The word \"mile\" at column 15 is not understood: expected an interval, such as fourth, minor "
       "third or tritone."},
  };
  for (const auto& [asked, wanted] : kAsked)
    EXPECT_EQ(understood(asked), std::string("! ") + wanted) << asked;
  EXPECT_FALSE(read_question(std::string(501, 'C'), kToday));
  EXPECT_FALSE(read_question(std::string(200, '(') + "C", kToday));
}

TEST(Question, AnySymbolOfTheVocabularyCanBeAskedForInLettersAndSigns) {
  for (std::size_t i = 0; i < harmony::chord_vocabulary().size(); ++i) {
    const auto& row = harmony::chord_vocabulary()[i];
    for (const auto text : {row.letters, row.signs}) {
      if (text.empty()) continue;
      const auto question = read_question("Eb" + std::string(text) + " under G", kToday);
      ASSERT_TRUE(question) << text << ": " << question.error().message;
      const auto& parts = question->choices[0].steps[0].what.parts;
      ASSERT_EQ(parts.size(), 3u) << text;
      EXPECT_TRUE(parts[1].rows[i]) << text;
    }
  }
}

TEST(Question, NoRowOfWordsBreaksTheReaderAndErrorsQuoteAColumn) {
  const std::string_view kWords[] = {
      "Db",   "under", "over",   "G",       "then", "and", "or",    "not",     "(",    ")",
      "#11",  "a",     "major",  "seventh", "in",   "F",   "minor", "last",    "week", "2026-11-01",
      "to",   "up",    "fourth", "Cm7",     "b9",   "any", "on",    "exactly", "flat", "since",
      "note", "the",   "half",   "Bb/D",    "♭",    "7",   "March"};
  std::mt19937 random(3);
  int read = 0;
  for (int i = 0; i < 20'000; ++i) {
    std::string text;
    for (auto n = random() % 9; n > 0; --n)
      text.append(text.empty() ? "" : " ").append(kWords[random() % std::size(kWords)]);
    const auto question = read_question(text, kToday);
    if (question) {
      ++read;
      EXPECT_FALSE(in_words(*question).empty()) << text;
    } else {
      const auto& message = question.error().message;
      EXPECT_EQ(message.back(), '.') << text;
      EXPECT_TRUE(message.find("column") != std::string::npos || text.empty()) << text << ": " << message;
    }
  }
  EXPECT_GT(read, 1000);
}

}  // namespace
}  // namespace undersong::takes
