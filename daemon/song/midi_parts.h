// The parts of a take as a standard MIDI file, format 1: what was played, and what others play to it, from
// beginning to end.
//
// Tracks: one with tempo, signatures and markers; "as played", one for each input, with every channel message
// as received; "melody"; "chords", with chord names as text events; "bass", the line of the left
// hand, or the bass of a chord under which it has none; and four tracks "string pad": violin I, violin II,
// viola and cello, led by string_parts.h in phrases of four bars. The tempo map follows the playing: each
// beat of the take is a quarter note (in 6/8 a dotted one) at its own time. With a steady tempo the beats are
// even instead; what was played keeps its position within the beat, and the melody is quantised.
//
// Units: 3840 ticks per quarter note in the file, so that every note lies within half a millisecond of its
// time.
// Threads: pure functions; call them from any thread.
// Errors: one sentence if the take is longer than a MIDI file can be.
// Source: Standard MIDI Files 1.0; General MIDI program numbers.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/event.h"
#include "daemon/song/strain.h"
#include "daemon/song/string_parts.h"

namespace undersong::song {

struct PartsOptions {
  bool steady = false;
  // Beats per minute, used with `steady`; empty: the form's tempo. hand_over copies it into the form.
  std::optional<double> tempo;
  std::vector<std::pair<Micros, std::string>> marks;  // time and text of the player's marks
  StringsWish strings;
};

struct MidiParts {
  std::vector<std::uint8_t> bytes;
  int pad_motion = 0, pad_parallels = 0;  // of the strings: semitones moved, and parallel pairs of voices
};

Result<MidiParts> midi_parts(const std::vector<midi::Event>& events, const Heard& heard, const Form& form,
                             const PartsOptions& options);

// The chords of the whole take in written beats from its beginning, spelled in the key of the part in which
// they lie. Where there is a pulse, they change on the grid of its beats (meter.h).
std::vector<WrittenChord> changes_of(const Heard& heard, const Form& form);

}  // namespace undersong::song
