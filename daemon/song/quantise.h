// The written rhythm of one voice: which note values a player meant.
//
// Every beat is divided in 1, 2, 3, 4, 6 or 8 parts; every note goes to a point of its beat's division, no
// two to the same one. The price of a division is how complicated it is, the price of a note how far from its
// point it was struck (squared, in spreads of human timing); the cheapest row of divisions is found exactly
// (dynamic programming over beats). A note just before a beat may belong to it. A note too many for every
// division is left out at a price. Lengths: a note lasts until the next one unless there was silence for half
// a beat or more.
//
// Units: beats in, ticks out; at least one beat. Threads: pure. Total.
// Source of the idea: Cemgil, Desain & Kappen (2000), "Rhythm quantization for transcription": complexity
// against deviation. The prices are ours, fitted to invented rhythms.
#pragma once

#include <span>
#include <vector>

#include "daemon/song/form.h"

namespace undersong::song {

struct PlayedInBeats {
  double at = 0;     // of the key's stroke; a little below 0 belongs to the first beat
  double until = 0;  // when it stopped sounding
  Pitch pitch;
  Velocity velocity;
};

// `notes` by beginning. `length`: whole or part beats; notes beyond are left out. Names are not set.
std::vector<WrittenNote> quantise(std::span<const PlayedInBeats> notes, Ticks length, double seconds_a_beat);

// The same where there is no pulse: the order is kept and, roughly, the proportions; nothing is left out if
// `length` has a sixteenth for every note.
std::vector<WrittenNote> place_freely(std::span<const PlayedInBeats> notes, Ticks length);

}  // namespace undersong::song
