// What a command of the program `undersong` prints and returns.
#pragma once

#include <gtest/gtest.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <string>
#include <vector>

namespace undersong::offline {

struct Outcome {
  int exit_code = -1;
  std::string printed, complaint;
};

// `add`: adds the commands to the program, and is given where they leave their exit code.
template <class Add>
Outcome outcome(const std::vector<std::string>& words, Add add) {
  Outcome out;
  CLI::App program;
  add(program, out.exit_code);
  testing::internal::CaptureStdout();
  testing::internal::CaptureStderr();
  try {
    program.parse(std::vector<std::string>(words.rbegin(), words.rend()));
  } catch (const CLI::ParseError& error) {
    out.exit_code = 2;
    std::fprintf(stderr, "%s", error.what());
  }
  std::fflush(stdout);
  out.printed = testing::internal::GetCapturedStdout();
  out.complaint = testing::internal::GetCapturedStderr();
  return out;
}

}  // namespace undersong::offline
