// The input of a command: a file, or standard input if its name is "-".
//
// Threads: one owner; not synchronised.
// Errors: the constructor prints one sentence on stderr if the file cannot be opened; then good() is false.
#pragma once

#include <fmt/format.h>

#include <fstream>
#include <iostream>
#include <string>

namespace undersong::offline {

class Input {
 public:
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
