// What every MIDI file with parts has in common: the programs (General MIDI 1, counted from 0) and how a
// track begins.
#pragma once

#include <cstdint>
#include <string>
#include <utility>

#include "daemon/harmony/pitch.h"
#include "daemon/midi/smf.h"

namespace undersong::song {

inline constexpr std::uint8_t kVibraphone = 11, kElectricPiano = 4, kAcousticBass = 32, kStringEnsemble = 48;
inline constexpr Velocity kChordsSoft{52};

// `channel`: 0 to 15.
inline midi::SmfTrack new_track(std::string name, std::uint8_t channel, std::uint8_t program) {
  midi::SmfTrack track;
  track.name = std::move(name);
  track.events.push_back({0, {}, {static_cast<std::uint8_t>(0xC0 | channel), program, 0}, 2});
  return track;
}

}  // namespace undersong::song
