// A question about takes in a musician's words, understood.
//
//   auto question = read_question("Db under G last week", today);
//   in_words(*question);   // "any chord on Db under G, from 2026-11-16 to 2026-11-22"
//
// The language, case aside:
//
//   question    one or more choices with "or" between them
//   choice      what must all be true, with "and" or nothing between: steps, a key, days
//   steps       chord then chord then chord ...; a bare row of symbols is one too: Cm7 F7 Bbmaj7
//   move        after "then": up or down an interval from the root before: then up a fourth any dominant
//   step        chord | chord "under" note or degree | note or degree "over" chord | "note" note | degree |
//   "not" step | ( question ) chord       a symbol (Db, Cm7, F#m7b5, Bb/D, B flat major seventh), or a family
//   (minor, dominant seventh, suspended ...) "on" a
//               root; "any chord on Bb"; "exactly" before it leaves out what only contains it
//   degree      #11, b9, flat nine, the third, the root
//   key         in F, in F minor, in the key of Bb
//   days        today, yesterday, last week, this month, last 10 days, on Monday, in March, in 2026,
//   2026-11-01 to 2026-11-20,
//               since 2026-11-01, before 2026-11-01
//
// A bare letter is any chord on that root. A symbol finds what contains it: Cm7 finds Cm9 and Cm7/G too. A
// lower-case "a" before a kind of chord is the article. Of notes named "b" with a number, b9 is a degree and
// B9 a chord, unless only one can stand there. A sequence follows roots and families: another colour of the
// same chord in between does not break it.
//
// Bounds: kLongestQuestion bytes, kMostSteps steps, kDeepest brackets. Threads: pure. Errors: one sentence
// that quotes the word and says its column, from 1. Source: the field's own words; common practice, no
// source.
#pragma once

#include <bitset>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/interval.h"
#include "daemon/harmony/pitch.h"

namespace undersong::takes {

using Day = std::chrono::year_month_day;

inline constexpr std::size_t kLongestQuestion = 500;
inline constexpr std::size_t kMostSteps = 16;
inline constexpr std::size_t kDeepest = 12;
inline constexpr std::size_t kMostDays = 16;  // spans of days in one question

// One condition, or several joined.
struct Clause {
  enum class Is : std::uint8_t { kAll, kAny, kNot, kRoot, kKind, kBass, kNote, kDegree, kKey, kDays };
  Is is = Is::kAll;
  std::vector<Clause> parts;  // of kAll (true when there are none), kAny and kNot (one)
  std::string words;  // how a part is called in a sentence: "Db", "m7", "#11", "F minor", "from ... to ..."
  PitchClass pc;      // root, bass, note
  std::bitset<128> rows;  // kKind: rows of the vocabulary
  harmony::Degree degree;
  std::uint32_t keys = 0;          // kKey: bit tonic for major, 12 + tonic for minor
  std::optional<Day> first, last;  // kDays: both included; open where empty
  std::size_t days = 0;            // kDays: its number in the question
};

struct Step {
  Clause what;                   // kAll
  std::uint16_t moves = 0x0FFF;  // semitones up from the root before, as bits; all: any
  std::string move_words;        // "up a fourth"
};

struct Choice {
  std::vector<Step> steps;  // one: a chord, or a note over one; more: a sequence
  Clause always;            // kAll: keys and days that hold throughout a sequence
};

struct Question {
  std::vector<Choice> choices;
  std::size_t days = 0;  // spans of days in it
};

Result<Question> read_question(std::string_view text, Day today);
std::string in_words(const Question& question);
std::string in_words(const Choice& choice);
// Does it speak of a melody note or of its degree?
bool speaks_of_note(const Clause& condition);

}  // namespace undersong::takes
