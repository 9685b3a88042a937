// A study of a take for notation: everything found in it, its melody as one line, and its bars.
//
// Units: Micros from the beginning of the take.
// Threads: plain values and a pure function; any thread may read a study.
// Errors: none; what was not found is empty.
#pragma once

#include <vector>

#include "daemon/midi/event.h"
#include "daemon/song/strain.h"
#include "daemon/takes/study.h"

namespace undersong::song {

// A take as it was played: its events in the order received, and the log lines about its beat and key, all on
// the same clock.
struct Played {
  std::vector<midi::Event> events;
  std::vector<takes::Line> said{}, keys{};  // of the beat and the chords; of the key
};

struct TakeStudy : takes::Study {
  std::vector<takes::PlayedNote> melody;  // from melody_line()
  std::vector<takes::PlayedNote> bass;    // from bass_line()
  Bars bars;
  Cycle cycle;                      // of the loop
  std::vector<Cycle> other_cycles;  // one for each of `others`
};

TakeStudy study_take(const Played& played, const takes::StudyReached& reached = {});

}  // namespace undersong::song
