// Turns the exception in flight into an Error with one sentence. For the top of a thread, and for code that
// owes a caller an answer.
//
//   try { answer(job()); } catch (...) { answer(caught("take 12 was listened to again")); }
//   auto made = guarded<Loop>("the loop was looked for", [&]() -> Result<Loop> { ... });
//
// Running out of memory or another system resource becomes kExhausted. Everything else is a bug in this
// program and becomes kInternal.
//
// Threads: any.
// Errors: both functions may throw std::bad_alloc when there is no memory left for the sentence.
// Source: none needed.
#pragma once

#include <string_view>
#include <utility>

#include "daemon/base/result.h"

namespace undersong {

// REQUIRES: called inside a catch block. `while_what` completes the phrase "while ...".
Error caught(std::string_view while_what);

// Returns the job's result, or the exception that it threw as an Error. The job runs on the calling thread.
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
