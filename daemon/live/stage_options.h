// What the configuration says of the stage.
//
// Threads: plain values.
#pragma once

#include <chrono>
#include <vector>

#include "daemon/listen/controls.h"
#include "daemon/live/settings.h"

namespace undersong::live {

struct StageOptions {
  Settings settings;
  std::vector<listen::Mapping> controls;
  std::chrono::seconds silence{20};             // ends a take
  std::chrono::milliseconds hear_length{1500};  // of a suggestion
};

}  // namespace undersong::live
