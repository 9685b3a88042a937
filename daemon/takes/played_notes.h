// The notes of a take as bars on a time line: what a piano roll draws and a player sounds again.
//
// Threads: pure. Source: common practice, no source.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/midi/event.h"

namespace undersong::takes {

struct PlayedNote {
  Micros at{};
  Micros length{};  // until its key goes up; a key that is never let go ends with the take's last event
  Pitch pitch;
  Velocity velocity;
};

struct PedalMove {
  Micros at{};
  bool down = false;
};

struct PlayedNotes {
  std::vector<PlayedNote> notes;  // by beginning
  std::vector<PedalMove> pedal;   // the sustain pedal of any channel, changes only
};

// `events` in the order received. The drum channel is no harmony and left out. A key struck again while it is
// down ends its first note there.
PlayedNotes played_notes(const std::vector<midi::Event>& events);

// A take seen from afar: equal spans of time, each with the lowest and highest key struck in it, and how
// many.
struct Thumbnail {
  struct Span {
    Pitch lowest, highest;  // meaningless while notes is 0
    std::uint32_t notes = 0;
  };
  std::vector<Span> spans;
};
Thumbnail thumbnail(const std::vector<midi::Event>& events, Micros begin, Micros length, std::size_t spans);

}  // namespace undersong::takes
