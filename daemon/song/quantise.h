// Quantises one voice: finds the note values that the player meant.
//
// Every beat is divided into 1, 2, 3, 4, 6 or 8 parts (a dotted quarter into 1, 2, 3, 6 or 12, an eighth into
// 1, 2 or 4), and every note moves to a point of its beat's division, at most one note to each point. A
// division costs more the more complicated it is, and a note costs more the further it is from its point
// (squared, relative to the spread of human timing). The cheapest sequence of divisions is found by dynamic
// programming over beats. A note just before a beat may belong to that beat. A note that fits no point may be
// left out at a cost. A note lasts until the next one, unless there is a silence of half a beat or more.
//
// Units: beats in, Ticks out.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: Cemgil, Desain & Kappen (2000), "Rhythm quantization for transcription", for weighing complexity
// against deviation. The costs are our own, fitted to invented rhythms.
#pragma once

#include <span>
#include <vector>

#include "daemon/song/form.h"

namespace undersong::song {

struct PlayedInBeats {
  double at = 0;     // when the key was struck; slightly below 0 belongs to the first beat
  double until = 0;  // when it stopped sounding
  Pitch pitch;
  Velocity velocity;
};

// `notes`: ordered by beginning. `length`: whole or fractional beats; later notes are left out. Note names
// are not set.
std::vector<WrittenNote> quantise(std::span<const PlayedInBeats> notes, Ticks length, double seconds_a_beat,
                                  BeatValue value = BeatValue::kQuarter);

// The same where there is no pulse. The order is kept, and proportions roughly. No note is left out if
// `length` has a sixteenth for each.
std::vector<WrittenNote> place_freely(std::span<const PlayedInBeats> notes, Ticks length);

}  // namespace undersong::song
