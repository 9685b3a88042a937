// Which times can belong to a take. Times from clients are checked; times from a damaged store are clamped.
//
// Units: Micros on the clock of the run that made the take.
// Threads: pure functions; call them from any thread.
// Errors: `outside` returns one sentence; the other functions are total.
// Source: common practice, no source.
#pragma once

#include <optional>
#include <string_view>

#include "daemon/base/result.h"
#include "daemon/listen/tempo.h"
#include "daemon/takes/search.h"

namespace undersong::takes {

// Lines of a take may lie this long before its first note (it was counted in) or after its last.
inline constexpr Micros kAroundTake{10'000'000};
inline constexpr Micros kLongestTake{24LL * 3600 * 1'000'000};

// The span of a take, clamped to possible values.
struct Span {
  Micros from{}, to{};
  Micros within(Micros at) const { return std::clamp(at, from - kAroundTake, to + kAroundTake); }
};
constexpr Span span_of(Micros at, Micros last_at) {
  const Micros from = listen::near_enough(at);
  return {from, std::clamp(listen::near_enough(last_at), from, from + kLongestTake)};
}
constexpr Span span_of(const Summary& summary) {
  return span_of(summary.at, summary.last_at);
}

// nullopt if `at` lies within the take, else what is wrong. `where` names the value in the sentence:
// "params.at".
std::optional<Error> outside(const Summary& summary, Micros at, std::string_view where);

}  // namespace undersong::takes
