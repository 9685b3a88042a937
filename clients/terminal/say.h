// say: prints the words of a command. With --json they are left out, because the daemon's answers are printed
// instead.
//
// Threads: main thread.
// Errors: none.
#pragma once

#include <fmt/format.h>

#include <cstdio>
#include <utility>

namespace undersong::terminal {

// Written by Session::as_json before a command runs, read by say.
inline bool words_are_wanted = true;

template <class... Args>
void say(fmt::format_string<Args...> text, Args&&... args) {
  if (words_are_wanted) fmt::print(text, std::forward<Args>(args)...);
}

}  // namespace undersong::terminal
