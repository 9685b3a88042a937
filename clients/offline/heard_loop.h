// The loop of a file, for the commands that begin with it.
#pragma once

#include <optional>
#include <string>

#include "daemon/takes/study.h"

namespace undersong::offline {

// With a loop. Says one sentence on stderr when there is none.
std::optional<takes::Study> hear_loop(const std::string& file);

}  // namespace undersong::offline
