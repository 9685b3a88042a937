// The bass line of a take with note lengths, as one voice within the range of a bass player.
//
// It starts from the lowest notes that were heard (HeardTake::bass). From C3 upwards, what only accompanies
// is left out: chords struck above a bass note under the same harmony, and notes of a broken chord a fifth or
// more above a bass note that the pedal still holds. Notes outside the range are moved by octaves.
//
// Units: Micros of the take; MIDI keys E1 (28) to G4 (67).
// Threads: pure; call it from any thread.
// Errors: none; a take without bass notes gives an empty result.
// Source: common practice, no source; the range is that of a four-string bass up to the twelfth position.
#pragma once

#include <vector>

#include "daemon/takes/heard_take.h"

namespace undersong::song {

inline constexpr int kLowestBass = 28, kHighestBass = 67;

// Moves a key into the range by octaves.
Pitch within_bass_range(int key);

std::vector<takes::PlayedNote> bass_line(const takes::HeardTake& take);

}  // namespace undersong::song
