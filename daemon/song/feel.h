// Swing: the eighths on the beat are long and those between the beats short, as two to one. They are written
// even; this header converts from one to the other. A beat with a real triplet stays as it is. A player's own
// ratio of long to short is first brought to two to one.
//
// Units: Ticks from a beat.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source; two to one is the triplet feel of swing at middle tempos.
#pragma once

#include <vector>

#include "daemon/song/form.h"

namespace undersong::song {

// Whether so much swing is written as swing. `swing`: long in multiples of short, as heard.
bool swings(double swing);

// A place in beats with its ratio of long to short brought to two to one. Unchanged if that does not swing.
double as_two_to_one(double beats, double swing);

// The same for all notes of a part, its endings too; the part then swings. A part in free time or in a
// compound metre is left alone.
void straighten(Part& part);

// From how it is played to how it is written: the last third of a beat becomes its second half.
void straighten(std::vector<WrittenNote>& notes);

// From how it is written to when it is played.
Ticks swung(Ticks at, Feel feel);

}  // namespace undersong::song
