// Moments of takes that answer a question: what is asked of the store and what it gives.
//
// Threads: plain values; `day_at` and `days_ms` read the machine's time zone.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/takes/question.h"
#include "daemon/takes/statement.h"

namespace undersong::takes {

struct MomentSearch {
  // Those that come after the last one that was given: so many of this take are left, and all older takes.
  struct From {
    TakeId take = 0;
    std::size_t left = 0;
  };
  Question question;
  std::vector<std::pair<std::int64_t, std::int64_t>> days_ms;  // from days_ms(question)
  std::size_t limit = 50;
  std::optional<From> from;
};

struct FoundMoment {
  TakeId take = 0;
  std::string title;
  std::int64_t begin_utc_ms = 0;  // of the take
  Micros take_at{};               // begin of the take, on the clock of the run that made it
  Micros at{}, length{};
  std::vector<std::string> harte;
  std::optional<KeptMeeting> note;  // the first meeting of it
  std::string key;
  std::uint32_t time = 1, times = 1;
};

struct NearQuestion {
  std::string words;
  std::uint64_t moments = 0;
};

struct FoundMoments {
  std::vector<FoundMoment> moments;        // newest first
  std::optional<MomentSearch::From> next;  // while there are more
  std::vector<NearQuestion> near;          // when nothing was found: with one condition left out, most first
  std::uint64_t unheard = 0;  // takes that are still to be listened to again, and not in the answer
};

struct TakeMeetings {
  TakeId take = 0;
  Micros at{};
  bool heard = false;  // false: it is still to be listened to again
  std::vector<Statement> statements;
  std::vector<KeptMeeting> meetings;
};

// What a better ear hears in a take's events: goes into the index in place of what was there.
struct HeardAgain {
  TakeId take = 0;
  Micros end{};
  std::vector<KeptChord> chords, keys;
  std::vector<KeptMeeting> meetings;
};

// The question with one condition left out, each with its words. Empty for what has nothing to leave out.
std::vector<Question> near_questions(const Question& question);

Day day_at(std::int64_t utc_ms);
// First and last millisecond of each span of days, by its number.
std::vector<std::pair<std::int64_t, std::int64_t>> days_ms(const Question& question);

}  // namespace undersong::takes
