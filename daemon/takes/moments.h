// Moments of takes that answer a question: what the caller asks of the store, and what the store returns.
//
// Units: Micros on the clock of the run that made the take; wall time in milliseconds since 1970, UTC.
// Threads: plain values and functions without state; call them from any thread. `day_at` and `days_ms` use
// the time zone of the machine.
// Errors: none.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/takes/question.h"
#include "daemon/takes/statement.h"
#include "daemon/takes/take_content.h"

namespace undersong::takes {

struct MomentSearch {
  // Where the next page begins: the `left` earliest moments of take `take`, then all older takes.
  struct From {
    TakeId take = 0;
    std::size_t left = 0;
  };
  Question question;
  std::vector<std::pair<std::int64_t, std::int64_t>> days_ms;  // the result of days_ms(question)
  std::size_t limit = 50;
  std::optional<From> from;
};

struct FoundMoment {
  TakeId take = 0;
  std::string title;
  std::optional<TakeContent> content{};  // of a take without a title
  std::int64_t begin_utc_ms = 0;         // of the take
  Micros take_at{};                      // beginning of the take, on the clock of the run that made it
  Micros at{}, length{};
  std::vector<std::string> harte;
  std::optional<KeptMeeting> note;  // the first meeting of that note with the chord
  std::string key;
  std::uint32_t time = 1, times = 1;
};

struct NearQuestion {
  std::string words;
  std::uint64_t moments = 0;
};

struct FoundMoments {
  std::vector<FoundMoment> moments;        // newest first
  std::optional<MomentSearch::From> next;  // set while there are more
  // Only if nothing was found: the question with one condition left out, most moments first.
  std::vector<NearQuestion> near;
  std::uint64_t unheard = 0;  // takes that wait to be analysed again and are not in the answer
};

struct TakeMeetings {
  TakeId take = 0;
  Micros at{};
  bool heard = false;  // false: it still waits to be analysed again
  std::vector<Statement> statements;
  std::vector<KeptMeeting> meetings;
};

// What the current ear heard in a take's events. It replaces what is indexed of the take.
struct HeardAgain {
  TakeId take = 0;
  Micros end{};
  std::vector<KeptChord> chords, keys;
  std::vector<KeptMeeting> meetings;
};

// The question with each condition left out in turn. Empty if no condition can be left out.
std::vector<Question> near_questions(const Question& question);

Day day_at(std::int64_t utc_ms);
// The first and last millisecond of each span of days, by its number in the question.
std::vector<std::pair<std::int64_t, std::int64_t>> days_ms(const Question& question);

}  // namespace undersong::takes
