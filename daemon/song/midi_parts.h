// The parts of a take as a standard MIDI file, format 1: what was played, and what others play to it, from
// beginning to end.
//
// Tracks: a first one with tempo, signatures and markers; "as played" (one for each input, every message as
// it was received); "melody"; "chords" with chord names as text events; "bass roots" (the bass of each chord
// in the rhythm of the changes); "string pad" in four: violin I, violin II, viola, cello, as
// harmony/string_pad.h leads them, common tones held over. The tempo map follows the playing: each beat of
// the take is a quarter note, at its own time to a microsecond. With a steady tempo the beats are even
// instead: what was played keeps its place within its beat, and the melody is quantised.
//
// 3840 ticks a quarter, so that what was played lies within half a millisecond of its time. Threads: pure.
// Errors: Result, a take longer than a MIDI file can be. Source: Standard MIDI Files 1.0; General MIDI
// program numbers.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/song/strain.h"

namespace undersong::song {

struct PartsOptions {
  bool steady = false;
  std::optional<double>
      tempo;  // beats a minute, with steady; the form's if there is none. hand_over puts it into the form
  std::vector<std::pair<Micros, std::string>> marks;  // the player's own
};

struct MidiParts {
  std::vector<std::uint8_t> bytes;
  int pad_motion = 0, pad_parallels = 0;  // of the strings, in semitones and pairs of voices
};

Result<MidiParts> midi_parts(const std::vector<midi::Event>& events, const Heard& heard, const Form& form,
                             const PartsOptions& options);

// The chords of the whole take in written beats from its beginning: changes on half beats where there is a
// pulse.
std::vector<WrittenChord> changes_of(const Heard& heard, int signature);

}  // namespace undersong::song
