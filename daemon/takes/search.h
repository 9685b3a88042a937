// Finding takes: filters that must all hold, and what a list shows of a take.
//
// Units: Micros on the clock of the run that made the take; wall time in milliseconds since 1970, UTC.
// Threads: plain values and a pure function; use them from any thread.
// Errors: none.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "daemon/takes/log_line.h"
#include "daemon/takes/take_content.h"

namespace undersong::takes {

struct Search {
  std::size_t limit = 50;            // 1..500
  std::optional<TakeId> before;      // only takes that follow this one in the list
  std::optional<std::string> harte;  // exactly this chord
  std::optional<PitchClass> root;    // a chord on this root; of family `family` if that is set
  std::optional<harmony::Family> family;
  std::optional<std::string> key;    // Harte form
  std::optional<PitchClass> melody;  // a melody note; with the next two, if they are set, in one place
  std::optional<PitchClass> melody_over;
  std::optional<std::string> melody_degree;
  std::optional<std::int64_t> from_utc_ms, to_utc_ms;  // beginning of the take, both ends included
  bool deleted = false;                                // true: only deleted takes; false: only the others
};

struct Summary {
  TakeId take = 0;
  std::int64_t begin_utc_ms = 0;
  Micros at{};       // beginning, on the clock of the run that made it
  Micros last_at{};  // of the newest line written while it was played
  std::string title, annotation;
  std::optional<std::string> ended;  // the reason; empty while the take is open
  std::uint64_t notes = 0, chords = 0, marks = 0;
  std::optional<std::string> key;        // the key that lasted longest
  std::optional<TakeContent> content{};  // of an ended take with chords
  bool deleted = false;
  LineNumber first_line = 0, last_line = 0;
};

struct Found {
  std::vector<Summary> takes;  // newest first
  bool more = false;
};

struct Detail {
  Summary summary;
  std::vector<Line> chords, keys, marks;
  std::vector<Judgement> kept;  // parts that the player kept
};

// An SQL condition on the table `takes`, with its arguments in order.
struct Condition {
  std::string sql;
  std::vector<std::variant<std::int64_t, std::string>> arguments;
};
Condition sql_of(const Search& search);

}  // namespace undersong::takes
