// Plain chords for a keyboard part: close position in the middle of the keyboard, each inversion near the
// chord before.
//
// Threads: pure. Total. Source: common practice, no source.
#pragma once

#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/pitch.h"

namespace undersong::song {

// Lowest first, three to five keys between C3 and E5; fifths give way where a chord has more than five tones.
std::vector<std::vector<Pitch>> close_chords(std::span<const harmony::Chord> chords);

}  // namespace undersong::song
