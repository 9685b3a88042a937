// find_query makes what somebody played comparable with takes, and says what kind of playing it is.
//
//   auto query = find_query(midi::merged_events(file));
//
// Units: as find_print.h.
// Threads: pure; any thread.
// Errors: one sentence if there is too little to look for.
#pragma once

#include <optional>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/takes/find_print.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

inline constexpr std::size_t kFewestFindNotes = 3;
// A query is a few seconds of playing. A longer one is cut here.
inline constexpr std::size_t kMostFindEvents = 20'000;

struct FindQuery {
  FindPrint print;
  // Nearly one voice: a tune. Otherwise chords. A whole passage may look like either.
  bool single_line = false;
  // The take that it is a part of. It would be found first, and is not looked at.
  std::optional<TakeId> of{};
};

// Where what was played last begins: after the last rest of kFindRest, at most kLongestPlayed before the last
// note.
inline constexpr Micros kFindRest{2'000'000}, kLongestPlayed{20'000'000};
Micros last_phrase(const std::vector<midi::Event>& events);

Result<FindQuery> find_query(std::vector<midi::Event> events);

}  // namespace undersong::takes
