// The loop of a file, for the commands that begin with it.
#pragma once

#include <optional>
#include <string>

#include "daemon/takes/loop.h"
#include "daemon/takes/section.h"

namespace undersong::offline {

struct HeardLoop {
  takes::HeardTake take;
  takes::Beats beats;
  takes::Loop loop;
  takes::Sections sections;
};

// Says one sentence on stderr when there is none.
std::optional<HeardLoop> hear_loop(const std::string& file);

}  // namespace undersong::offline
