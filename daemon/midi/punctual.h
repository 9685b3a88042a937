// Makes the calling thread punctual: it gets a name, and the real-time class where the system permits it,
// otherwise the shortest timer slack of an ordinary thread.
//
// Threads: call it on the thread itself.
// Errors: none; if the system refuses, the thread stays ordinary.
// Source: sched(7).
#pragma once

namespace undersong::midi {

// `name`: at most 15 characters.
void be_punctual(const char* name);

}  // namespace undersong::midi
