// The options of the stage, as the configuration gives them.
//
// Units and ranges: beside each member.
// Threads: plain values.
// Errors: none.
#pragma once

#include <chrono>

#include "daemon/live/settings.h"

namespace undersong::live {

struct StageOptions {
  Settings settings;
  std::chrono::seconds silence{20};             // 1..3600 s; a silence of this length ends a take
  std::chrono::milliseconds hear_length{1500};  // 50..60,000 ms; how long a suggestion sounds
};

}  // namespace undersong::live
