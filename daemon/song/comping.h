// Plain chords for a keyboard part, in close position in the middle of the keyboard. Each chord takes the
// inversion nearest to the chord before.
//
// Units: Pitch, C3 to E5.
// Threads: pure; call it from any thread.
// Errors: none; the function is total.
// Source: common practice, no source.
#pragma once

#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/pitch.h"

namespace undersong::song {

// Three to five notes for each chord, lowest first. If a chord has more than five tones, inessential ones
// such as the fifth are left out.
std::vector<std::vector<Pitch>> close_chords(std::span<const harmony::Chord> chords);

}  // namespace undersong::song
