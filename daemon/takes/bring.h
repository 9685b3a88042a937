// Bringing takes that were played before: a MIDI file, analysed as if it had been played to the daemon,
// becomes a take with the date on which it was played.
//
//   auto take = bring(file, "rounds", utc_ms);
//   if (take) database.bring(*take);
//
// All channels are one keyboard, except the drum channel, which is left out. The take begins when the file
// begins, so that its times are those of the file.
//
// Units: Micros from the start of the file; milliseconds since 1970, UTC.
// Threads: pure; any thread.
// Errors: one sentence for a file that holds nothing to keep, or more than a take may hold.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/find_print.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

// The most that one take may hold: days of playing, yet bounded.
inline constexpr std::size_t kMostBroughtEvents = 2'000'000;
inline constexpr Micros kLongestBrought = std::chrono::hours(24);

struct BroughtTake {
  std::string title;
  std::int64_t begin_utc_ms = 0;
  std::vector<Entry> entries;   // from take_begin to take_end
  std::vector<FindNote> notes;  // by which the same take is recognised
};

struct Brought {
  TakeId take = 0;
  bool known = false;  // it was there already: nothing was written
  std::vector<Line> lines;
};

// The events of a file that are kept. `file` names it in the error.
Result<std::vector<midi::Event>> events_to_bring(const midi::Smf& file);
std::vector<FindNote> notes_to_bring(const std::vector<midi::Event>& events);
// Analyses the events.
BroughtTake bring(const std::vector<midi::Event>& events, std::string title, std::int64_t utc_ms);

}  // namespace undersong::takes
