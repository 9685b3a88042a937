// A take listened to again from its events: notes, settled chords, melody and bass strikes, for whoever works
// on it afterwards. Settled chords are those of timeline.h; chord spans join those that stand on one root.
//
// Threads: pure. Errors: none; nothing played gives nothing heard. Times: Micros of the take.
// Source: common practice, no source.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/spelling.h"
#include "daemon/midi/event.h"
#include "daemon/takes/log_line.h"
#include "daemon/takes/played_notes.h"

namespace undersong::takes {

struct HeardChord {
  Micros at{};
  harmony::Chord chord;
  harmony::NoteName root;
  bool said = false;  // by the player, who outranks the ear
};

struct HeardNote {
  Micros at{};
  Pitch pitch;
};

// One statement of one harmony: until the root changes, or the bass strikes it anew in a take where it does
// so once a chord.
struct ChordSpan {
  Micros begin{}, end{};
  harmony::Chord chord;  // the name that the player gave it, or else the one that stood longest
  harmony::NoteName root;
  bool said = false;
};

struct HeardTake {
  std::vector<PlayedNote> notes;
  std::vector<PedalMove> pedal;     // sustain, changes only
  std::vector<HeardChord> chords;   // settled, by beginning
  std::vector<HeardNote> melody;    // by beginning
  std::vector<HeardNote> bass;      // strikes of the lowest voice, by beginning
  std::vector<ChordSpan> spans;     // without gaps, by beginning
  std::optional<harmony::Key> key;  // the one heard last, or pinned
  bool key_pinned = false;          // the player said it
};

// `keys`: the key lines of the take's log, if it has one. A key that the player pinned counts from its line
// on. `said`: what the player said of the take afterwards. A correction gives its name to the chord that
// sounds at its time, and of several the last one counts; "N" says that there was no chord. Lines of other
// kinds are passed over.
HeardTake hear(const std::vector<midi::Event>& events, std::span<const Line> keys = {},
               std::span<const Line> said = {});

}  // namespace undersong::takes
