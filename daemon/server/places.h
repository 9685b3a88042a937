// Where the daemon has its things, for whoever asks.
#pragma once

#include <optional>
#include <string>

namespace undersong::server {

struct Places {
  std::string configuration;
  bool configured = false;  // it was there and read
  std::string takes, socket;
  std::optional<std::string> page;          // its address; nothing when none is served
  std::optional<std::string> page_trouble;  // why none is although one was wanted
};

}  // namespace undersong::server
