// A take studied for paper: what was found in it, its tune as one line, and its bars.
//
// Threads: plain values, pure. Errors: none; what isn't there is empty.
#pragma once

#include <vector>

#include "daemon/midi/event.h"
#include "daemon/song/strain.h"
#include "daemon/takes/study.h"

namespace undersong::song {

// A take as it was played: its events in the order received, and what the log says of its beat and key, on
// their clock.
struct Played {
  std::vector<midi::Event> events;
  std::vector<takes::Line> said{}, keys{};  // of the beat and the chords; of the key
};

struct TakeStudy : takes::Study {
  std::vector<takes::PlayedNote> melody;  // as from melody_line
  Bars bars;
  Cycle cycle;  // of the loop
};

TakeStudy study_take(const Played& played);

}  // namespace undersong::song
