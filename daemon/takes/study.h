// A study of a take: everything that is found in it afterwards, computed once and then only read.
//
//   const Study study = study_of(take.events, take.said, take.detail.keys);
//   if (study.loop) ...
//
// The steps are: analyse the events, find beats, apply what the player or a clock said about them, find the
// loops, find their sections. What was said outranks what was found. If somebody said where bars begin
// (Beats::barred), they begin there on every page, whatever the loop suggests.
//
// Units: Micros on the clock of the events.
// Threads: pure functions; call them from any thread.
// Errors: none; what was not found is empty.
// Source: common practice, no source; see the headers of the steps.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "daemon/takes/beats.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/loop.h"
#include "daemon/takes/section.h"

namespace undersong::takes {

struct OtherLoop {
  Loop loop;
  Sections sections;  // their labels go on after those of the loops before
};

struct Study {
  HeardTake take;
  // With corrections applied. If `carries`, without the beats of free playing outside the loop.
  Beats beats;
  std::optional<Loop> loop;       // the one that explains most of the take
  Sections sections;              // of the loop; empty if there is none
  std::vector<OtherLoop> others;  // further loops of the take
  bool carries = false;           // carries_form(take, all loops)
};

// True if the take is built on these loops: the first has at least two chords and is at least three beats
// long, and half of the playing lies in their passes. If a piece only returns to a phrase now and then, it is
// better written out in full, and so is a vamp.
bool carries_form(const HeardTake& take, const Loop& loop, const std::vector<OtherLoop>& others = {});

// `said`: what the player said of the take's beat and chords, on the same clock; other lines are passed over.
// `keys`: its key lines, for a key that was pinned.
// `reached` is called with the share of the work that is done, on the calling thread; what it throws ends the
// study.
using StudyReached = std::function<void(double share)>;
Study study_of(const std::vector<midi::Event>& events, const std::vector<Line>& said = {},
               const std::vector<Line>& keys = {}, const StudyReached& reached = {});

}  // namespace undersong::takes
