// What the account that we run under may do, in words for the player.
//
// Threads: any.
// Errors: none.
// Source: none needed.
#pragma once

#include <string>

namespace undersong {

// Why `file` may not be opened, and the command that changes it. `what` begins the sentence: "ALSA's
// sequencer".
std::string no_right_to(const std::string& file, const std::string& what);

}  // namespace undersong
