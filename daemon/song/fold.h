// From times round to strains: those that are the same are written once and repeated, with endings where they
// differ at the end.
//
// Two times are the same if their melodies agree in half of their notes (place and pitch) and their chords in
// all but, at most, the second half, from a bar line on. What is written is the melody of the time that
// agrees best with the others: every note of it was played. Strains that cannot be folded stand one after
// another. Threads: pure. Source: common practice, no source; the threshold is that of sections
// (takes/section.h).
#pragma once

#include <span>
#include <vector>

#include "daemon/song/strain.h"

namespace undersong::song {

// Parts without label, kind and name.
std::vector<Part> fold(std::span<const Strain> strains, int meter);

// 0..1: notes at the same place (a sixteenth to spare) with the same pitch.
double agreement(std::span<const WrittenNote> a, std::span<const WrittenNote> b);

}  // namespace undersong::song
