// The notes of a take with their lengths: what a piano roll draws and a player plays.
//
// Units: Micros on the clock of the events.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/midi/event.h"

namespace undersong::takes {

struct PlayedNote {
  Micros at{};
  Micros length{};  // until its key is released; a key that never is ends with the last event of the take
  Pitch pitch;
  Velocity velocity;
};

struct PedalMove {
  Micros at{};
  bool down = false;
};

struct PlayedNotes {
  std::vector<PlayedNote> notes;  // ordered by beginning
  std::vector<PedalMove> pedal;   // the sustain pedal of all channels together, changes only
};

// `events`: in the order received. The drum channel is not harmony and is left out. If a key is struck again
// while it is down, its first note ends there.
PlayedNotes played_notes(const std::vector<midi::Event>& events);

// A thumbnail of a take: spans of equal length, each with its lowest and highest note and the number of
// notes.
struct Thumbnail {
  struct Span {
    Pitch lowest, highest;  // undefined while `notes` is 0
    std::uint32_t notes = 0;
  };
  std::vector<Span> spans;
};
Thumbnail thumbnail(const std::vector<midi::Event>& events, Micros begin, Micros length, std::size_t spans);

}  // namespace undersong::takes
