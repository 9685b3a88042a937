// Corrections of the beat for the commands that work on files, with the words of `undersong beat`.
//
//   BeatOptions beat;
//   beat.add_to(*command);                       // --beat WORD, --at TIME
//   const auto said = beat.said();               // after the options were parsed
//
// Units: Micros from the beginning of the file.
// Threads: the main thread only.
// Errors: one sentence that says which word or time is wrong.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/takes/beats.h"
#include "daemon/takes/log_line.h"

namespace undersong::offline {

class BeatOptions {
 public:
  void add_to(CLI::App& command);
  // As lines of a take's log; empty if nothing was said.
  Result<std::vector<takes::Line>> said(const std::vector<midi::Event>& events) const;
  // Why the beats that were found in the file cannot be corrected as asked; nullopt if they can.
  // `found`: with the corrections applied.
  std::optional<Error> refused(const takes::Beats& found) const;

 private:
  std::vector<std::string> words_;
  std::string at_;
};

}  // namespace undersong::offline
