// A take as a sketch draws from it: everything that was found in it, worked out once.
//
// Threads: plain values, pure. Errors: one sentence; it says "its take", because a section is speaking.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/song/melody_line.h"
#include "daemon/song/strain.h"

namespace undersong::song {

struct AnalysedSource {
  takes::HeardTake take;
  takes::Beats beats;
  std::optional<takes::Loop> loop;
  takes::Sections sections;
  std::vector<takes::PlayedNote> melody;
  Bars bars;
  Cycle cycle;  // of the loop
};
Result<std::unique_ptr<AnalysedSource>> analyse_source(const Played& played);

}  // namespace undersong::song
