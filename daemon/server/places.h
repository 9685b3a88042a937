// Places: where the daemon's files, socket and page are. Clients can ask for it.
//
// Threads: plain values.
#pragma once

#include <optional>
#include <string>

namespace undersong::server {

struct Places {
  std::string configuration;
  bool configured = false;  // the file existed and was read
  std::string takes, socket;
  std::optional<std::string> page;          // its address; empty if no page is served
  std::optional<std::string> page_trouble;  // why no page is served although the configuration asks for one
};

}  // namespace undersong::server
