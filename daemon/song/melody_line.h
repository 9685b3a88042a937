// The melody of a take with note lengths, as one voice: each note ends where the next one begins, at the
// latest.
//
// A note that the pedal carries on to the next note lasts until that note. A note that the pedal carries into
// a silence ends where its key was released, because that is what the hand meant.
//
// Units: Micros of the take.
// Threads: pure; call it from any thread.
// Errors: none; a take without a melody gives an empty result.
// Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/takes/heard_take.h"

namespace undersong::song {

// The time until which the pedal holds what sounds at `at`; `at` itself if the pedal is up.
Micros pedal_until(const std::vector<takes::PedalMove>& pedal, Micros at);

// Sets the lengths of `notes`, which are ordered by beginning, so that they are one voice: each lasts until
// the next if its key, the pedal or a short silence reaches so far.
void as_one_voice(std::vector<takes::PlayedNote>& notes, const std::vector<takes::PedalMove>& pedal);

std::vector<takes::PlayedNote> melody_line(const takes::HeardTake& take);

}  // namespace undersong::song
