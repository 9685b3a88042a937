// The melody of a take with its lengths: each note from its stroke until it stopped sounding.
//
// A note that the pedal carries to the next one is tied to it by ear; one that the pedal carries into a
// silence ends where the key was let go, because that is what the hand meant. One voice: a note ends where
// the next begins. Threads: pure. Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/takes/heard_take.h"

namespace undersong::song {

std::vector<takes::PlayedNote> melody_line(const takes::HeardTake& take);

}  // namespace undersong::song
