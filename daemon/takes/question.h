// A question about takes in a musician's words, parsed.
//
//   auto question = read_question("Db under G last week", today);
//   in_words(*question);   // "any chord on Db under G, from 2026-11-16 to 2026-11-22"
//
// The language ignores case:
//
//   question    one or more choices, joined by "or"
//   choice      conditions that must all be true, joined by "and" or by nothing: steps, a key, days
//   steps       chord then chord then chord ...; a row of symbols works too: Cm7 F7 Bbmaj7
//   move        after "then": the interval from the root before: then up a fourth any dominant
//   step        chord | chord "under" note or degree | note or degree "over" chord | "note" note |
//               degree | "not" step | ( question )
//   chord       a symbol (Db, Cm7, F#m7b5, Bb/D, B flat major seventh), or a family (minor, dominant
//               seventh, suspended ...) "on" a root; "any chord on Bb"; with "exactly" before it, chords that
//               only contain it do not match
//   degree      #11, b9, flat nine, the third, the root
//   key         in F, in F minor, in the key of Bb
//   days        today, yesterday, last week, this month, last 10 days, on Monday, in March, in 2026,
//               2026-11-01 to 2026-11-20, since 2026-11-01, before 2026-11-01
//
// A bare letter means any chord on that root. A symbol finds every chord that contains it: Cm7 also finds Cm9
// and Cm7/G. A lower-case "a" before a kind of chord is the article. A "b" with a number is a degree in lower
// case (b9) and a chord in upper case (B9), unless only one of the two fits there. A sequence compares roots
// and families, so another colour of the same chord in between does not break it.
//
// Units: lengths in bytes; columns in characters, from 1. Limits: kLongestQuestion bytes, kMostSteps steps,
// kDeepest nested brackets, kMostDays spans of days.
// Threads: pure functions; call them from any thread.
// Errors: one sentence that quotes the word and gives its column.
// Source: the terms are those of the field; common practice, no source.
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
inline constexpr std::size_t kMostDays = 16;

// One condition, or several combined.
struct Clause {
  enum class Is : std::uint8_t { kAll, kAny, kNot, kRoot, kKind, kBass, kNote, kDegree, kKey, kDays };
  Is is = Is::kAll;
  std::vector<Clause> parts;  // of kAll (true if there are none), kAny and kNot (exactly one)
  std::string words;          // how a sentence names it: "Db", "m7", "#11", "F minor", "from ... to ..."
  PitchClass pc;              // kRoot, kBass, kNote
  std::bitset<128> rows;      // kKind: rows of the chord vocabulary
  harmony::Degree degree;
  std::uint32_t keys = 0;          // kKey: bit = tonic for major, 12 + tonic for minor
  std::optional<Day> first, last;  // kDays: both included; an empty one is open
  std::size_t days = 0;            // kDays: index of the span within the question
};

struct Step {
  Clause what;                   // always kAll
  std::uint16_t moves = 0x0FFF;  // allowed semitones up from the root before, as bits; all bits: any
  std::string move_words;        // "up a fourth"
};

struct Choice {
  std::vector<Step> steps;  // one step: a chord, or a note over one; more steps: a sequence
  Clause always;            // kAll: keys and days that must hold for the whole sequence
};

struct Question {
  std::vector<Choice> choices;
  std::size_t days = 0;  // number of spans of days
};

Result<Question> read_question(std::string_view text, Day today);
// The question as a sentence, so that the player sees how it was understood.
std::string in_words(const Question& question);
std::string in_words(const Choice& choice);
// True if the condition concerns a melody note or its degree.
bool speaks_of_note(const Clause& condition);

}  // namespace undersong::takes
