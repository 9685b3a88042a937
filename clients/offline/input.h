// A file that a command reads, or standard input under the name "-".
#pragma once

#include <fmt/format.h>

#include <fstream>
#include <iostream>
#include <string>

namespace undersong::offline {

class Input {
 public:
  // Says one sentence on stderr when the file can't be opened; then `good` is false.
  explicit Input(const std::string& file) : standard_(file == "-") {
    if (!standard_) opened_.open(file);
    if (!stream()) fmt::print(stderr, "undersong: {}: can't be opened.\n", file);
  }
  bool good() { return static_cast<bool>(stream()); }
  std::istream& stream() { return standard_ ? std::cin : opened_; }

 private:
  bool standard_;
  std::ifstream opened_;
};

}  // namespace undersong::offline
