// A study of a take: everything that is found in it afterwards, found once and then only read.
//
//   const Study study = study_of(take.events, take.said, take.detail.keys);
//   if (study.loop) ...
//
// The chain is heard take, beats, what the player or a clock said of them, loop, sections. What was said
// outranks what was found: beats that were said to begin bars do so on every page (Beats::barred), whatever
// the loop suggests.
//
// Times: Micros, on the clock of the events. Threads: pure. Errors: none; what isn't there is empty.
#pragma once

#include <optional>
#include <vector>

#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/loop.h"
#include "daemon/takes/section.h"

namespace undersong::takes {

struct Study {
  HeardTake take;
  Beats beats;  // with what was said applied, without those that were only fitted to free playing outside a
                // loop that carries
  std::optional<Loop> loop;
  Sections sections;     // of the loop; empty without one
  bool carries = false;  // carries_form(take, *loop)
};

// Whether the take is made of this loop: two chords and most of a bar at least, and half of the playing.
// Songs that only come back to a turn of phrase now and then are better written out.
bool carries_form(const HeardTake& take, const Loop& loop);

// `said`: what the player said of the take's beat and chords, on the same clock; other lines are passed over.
// `keys`: its key lines, for a key that was pinned.
Study study_of(const std::vector<midi::Event>& events, const std::vector<Line>& said = {},
               const std::vector<Line>& keys = {});

}  // namespace undersong::takes
