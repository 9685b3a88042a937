// A take analysed again from its events: notes, settled chords, melody and bass notes.
//
// Settled chords are defined in timeline.h. A chord span joins neighbouring settled chords on the same root.
//
// Units: Micros of the take.
// Threads: pure functions; call them from any thread.
// Errors: none; an empty take gives an empty result.
// Source: common practice, no source.
#pragma once

#include <functional>
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

// The notes of one chord and its bass fall within this time.
inline constexpr Micros kChordTogether{90'000};

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

// One statement of a harmony. It lasts until the root changes. If the bass of this take is usually struck
// once per chord, a repeated bass note also begins a new statement.
struct ChordSpan {
  Micros begin{}, end{};
  harmony::Chord chord;  // the name that the player gave it, or else the one that stood longest
  harmony::NoteName root;
  bool said = false;
};

struct HeardTake {
  std::vector<PlayedNote> notes;
  std::vector<PedalMove> pedal;     // sustain pedal, changes only
  std::vector<HeardChord> chords;   // settled chords, by beginning
  std::vector<HeardNote> melody;    // by beginning
  std::vector<HeardNote> bass;      // notes of the lowest voice, by beginning
  std::vector<ChordSpan> spans;     // by beginning, without gaps
  std::optional<harmony::Key> key;  // the last one heard, or the pinned one
  bool key_pinned = false;          // the player pinned the key
};

// `keys`: the key lines of the take's log, if it has one. A key that the player pinned counts from its line
// on. `said`: what the player said of the take afterwards. A correction gives its name to the chord that
// sounds at its time, and of several the last one counts; "N" says that there was no chord. Lines of other
// kinds are passed over.
// `reached` is called now and then with the share of the events that was heard.
HeardTake hear(const std::vector<midi::Event>& events, std::span<const Line> keys = {},
               std::span<const Line> said = {}, const std::function<void(double share)>& reached = {});

}  // namespace undersong::takes
