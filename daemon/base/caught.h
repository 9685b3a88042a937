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

// Does it, and tells `failed` what it threw. False when it threw.
template <class Failed, class Job>
bool attempted(std::string_view while_what, const Failed& failed, Job&& job) {
  try {
    std::forward<Job>(job)();
    return true;
  } catch (...) {
    try {
      failed(caught(while_what));
    } catch (...) {  // not even memory for a sentence
    }
    return false;
  }
}

}  // namespace undersong
