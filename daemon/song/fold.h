// Folds strains that are the same into parts with repeats, and with endings where they differ at the end.
//
// Strains that are transposed alike are compared. Two are the same if at least half of their melody notes
// agree (position and pitch) and their chords agree at least through the first half, up to a bar line. The
// part gets the melody on which its strains agree, and the bass line on which they do (consensus.h). Strains
// that cannot be folded follow one another.
//
// Units: Ticks from the beginning of a strain or part.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source; the threshold is the one that sections use (takes/section.h).
#pragma once

#include <span>
#include <vector>

#include "daemon/song/strain.h"

namespace undersong::song {

// Label, kind and name of the parts are not set. `also`: strains elsewhere in the take that may have the same
// melody; those that agree with a part vote on its melody.
std::vector<Part> fold(std::span<const Strain> strains, Ticks bar, std::span<const Strain> also = {});

// The share of notes, 0..1, that have the same pitch at the same position, within a sixteenth.
double agreement(std::span<const WrittenNote> a, std::span<const WrittenNote> b);

}  // namespace undersong::song
