// What a job threw, as an Error with one sentence. For the top of a thread, and for whoever owes somebody an
// answer.
//
//   try { answer(job()); } catch (...) { answer(caught("take 12 was listened to again")); }
//   auto made = guarded<Loop>("the loop was looked for", [&]() -> Result<Loop> { ... });
//
// Memory, or another thing the system has no more of: kExhausted. All else is a fault of ours: kInternal.
// Threads: any. Errors: throws only if there is no memory for a sentence.
#pragma once

#include <string_view>
#include <utility>

#include "daemon/base/result.h"

namespace undersong {

// REQUIRES: called in a catch block. `while_what` goes on "while ...".
Error caught(std::string_view while_what);

// The job's result, or what it threw.
template <class T, class Job>
Result<T> guarded(std::string_view while_what, Job&& job) {
  try {
    return std::forward<Job>(job)();
  } catch (...) {
    return caught(while_what);
  }
}

}  // namespace undersong
