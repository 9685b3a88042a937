// A form as it sounds: every note of every layer in real time, and where the parts begin. What form_midi.h
// writes into a file, for a client that plays it itself.
//
//   const auto song = sounding_song(form);
//   for (const SoundingNote& note : song->notes) ...
//
// Units: Micros from the first beat of the song; there is no count-in. All repeats and jumps are written out.
// Threads: pure; call it from any thread.
// Errors: one sentence if the form is longer than a MIDI file can be.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/harmony/pitch.h"
#include "daemon/midi/event.h"
#include "daemon/song/form.h"

namespace undersong::song {

enum class Layer : std::uint8_t { kMelody, kChords, kBass, kPad };

struct SoundingNote {
  Micros at{}, length{};
  Pitch pitch;
  Velocity velocity;
  Layer layer = Layer::kMelody;
};

struct SoundingTurn {
  std::size_t part = 0;  // index into the parts of the form
  int time = 1;          // which of its repeats
  Micros at{};
};

struct SoundingSong {
  Micros length{};
  std::vector<SoundingTurn> turns;
  std::vector<SoundingNote> notes;  // ordered by beginning
};
Result<SoundingSong> sounding_song(const Form& form);

}  // namespace undersong::song
