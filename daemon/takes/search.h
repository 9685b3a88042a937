// Finding takes: filters that all must hold, and what a list shows of a take.
//
// Threads: plain values; `sql_of` is pure.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "daemon/takes/log_line.h"

namespace undersong::takes {

struct Search {
  std::size_t limit = 50;            // 1..500
  std::optional<TakeId> before;      // smaller numbers only
  std::optional<std::string> harte;  // a chord exactly so
  std::optional<PitchClass> root;    // a chord on this root, together with `family` if given
  std::optional<harmony::Family> family;
  std::optional<std::string> key;    // Harte form
  std::optional<PitchClass> melody;  // a melody note, together with the next two if given
  std::optional<PitchClass> melody_over;
  std::optional<std::string> melody_degree;
  std::optional<std::int64_t> from_utc_ms, to_utc_ms;  // begin of the take, both ends included
  bool deleted = false;                                // the deleted ones instead
};

struct Summary {
  TakeId take = 0;
  std::int64_t begin_utc_ms = 0;
  Micros at{};       // begin, on the clock of the run that made it
  Micros last_at{};  // of its newest line while it was played
  std::string title, annotation;
  std::optional<std::string> ended;  // why; empty while it is open
  std::uint64_t notes = 0, chords = 0, marks = 0;
  std::optional<std::string> key;  // the one that held longest
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
};

// The condition on table `takes` as SQL with its arguments in order.
struct Condition {
  std::string sql;
  std::vector<std::variant<std::int64_t, std::string>> arguments;
};
Condition sql_of(const Search& search);

}  // namespace undersong::takes
