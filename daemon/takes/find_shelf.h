// The find prints of a store in memory, and the places that a query found in its takes.
//
// About seven kilobytes for a take of three minutes. The shelf is filled when something is looked for the
// first time, and then kept.
//
// Units: Micros of the take; milliseconds since 1970, UTC.
// Threads: plain values; any thread.
// Errors: none.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "daemon/takes/find_takes.h"

namespace undersong::takes {

struct FindShelf {
  std::map<TakeId, FindLines> takes;
  std::vector<const FindLines*> all() const {
    std::vector<const FindLines*> out;
    out.reserve(takes.size());
    for (const auto& [take, lines] : takes) out.push_back(&lines);
    return out;
  }
};

struct FoundPlace {
  FoundTake found;
  std::string title;
  std::int64_t begin_utc_ms = 0;  // of the take
};

struct FoundPlaces {
  std::vector<FoundPlace> places;  // best first
  std::uint64_t takes = 0;         // that were looked at
  std::uint64_t unprinted = 0;     // takes that have no find print yet, and are not in the answer
};

}  // namespace undersong::takes
