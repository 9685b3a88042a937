// What waits in the queue of the inputs.
#pragma once

#include <vector>

#include "daemon/midi/inputs.h"

namespace undersong::midi {

inline std::vector<Event> drain(Inputs& inputs) {
  std::vector<Event> out;
  inputs.drain([&](const Event& e) { out.push_back(e); });
  return out;
}

}  // namespace undersong::midi
