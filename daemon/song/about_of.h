// What a study leaves of a take to be known at a glance: its loops with all their passes, and its tempo.
//
// Units: Micros from the beginning of the take.
// Threads: pure; any thread.
// Errors: none; without a loop it has no chords.
#pragma once

#include "daemon/song/take_study.h"
#include "daemon/takes/take_about.h"

namespace undersong::song {

takes::TakeAbout about_of(const TakeStudy& study);

}  // namespace undersong::song
