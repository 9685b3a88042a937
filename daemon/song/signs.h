// The signs that lead through a song, in words.
//
// Units: none.
// Threads: pure functions; call them from any thread.
// Errors: none; unknown words give false.
// Source: common practice, no source.
#pragma once

#include <string>
#include <string_view>

#include "daemon/song/form.h"

namespace undersong::song {

// "segno" or "coda"; "fine", "to coda", "D.C.", "D.S. al coda" and so on. False for other words.
bool set_begins(Signs& signs, std::string_view words);
bool set_ends(Signs& signs, std::string_view words);
// Empty if there is no sign.
std::string begins_text(const Signs& signs);
std::string ends_text(const Signs& signs);
// All words that set_begins and set_ends know, for people.
std::string known_begins();
std::string known_ends();

}  // namespace undersong::song
