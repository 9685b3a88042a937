// One MIDI channel or system message with its arrival time.
//
//   const Event c4 = note_on(steady_now(), 0, Pitch(60), Velocity(80));
//
// An Event is trivially copyable, so that it can pass through a lock-free queue. System-exclusive data are
// not carried, because they say nothing about harmony.
//
// Units: Micros of the stream that the event belongs to; raw MIDI bytes; channels 0..15.
// Threads: plain values; any thread.
// Errors: none; all functions are total. REQUIRES: channel 0..15, controller and value 0..127.
// Source: MIDI 1.0 Detailed Specification (MMA, 1996).
#pragma once

#include <array>
#include <cstdint>
#include <type_traits>

#include "daemon/harmony/pitch.h"

namespace undersong::midi {

// Identifies an input. Inputs (inputs.h) numbers the inputs in the order in which they first appear. The
// number is stable while the daemon runs: a keyboard that is unplugged and comes back under the same name
// keeps it.
using PortNumber = std::uint8_t;
inline constexpr PortNumber kNoPort = 255;

struct Event {
  Micros at{};
  std::array<std::uint8_t, 3> bytes{};
  std::uint8_t size = 0;  // bytes used, 1..3; 0 for a notice (source.h)
  PortNumber port = kNoPort;

  constexpr std::uint8_t status() const { return bytes[0]; }
  constexpr std::uint8_t kind() const { return bytes[0] & 0xF0; }     // channel messages: 0x80..0xE0
  constexpr std::uint8_t channel() const { return bytes[0] & 0x0F; }  // 0..15; 9 is the drum channel
  friend constexpr bool operator==(const Event&, const Event&) = default;
};
static_assert(std::is_trivially_copyable_v<Event>);

inline constexpr std::uint8_t kNoteOff = 0x80, kNoteOn = 0x90, kControlChange = 0xB0;
inline constexpr std::uint8_t kDrumChannel = 9;  // General MIDI channel 10

constexpr Event note_on(Micros at, std::uint8_t channel, Pitch pitch, Velocity velocity,
                        PortNumber port = 0) {
  return {at,
          {static_cast<std::uint8_t>(kNoteOn | channel), static_cast<std::uint8_t>(pitch.value()),
           static_cast<std::uint8_t>(velocity.value())},
          3,
          port};
}
constexpr Event note_off(Micros at, std::uint8_t channel, Pitch pitch, PortNumber port = 0) {
  return {at,
          {static_cast<std::uint8_t>(kNoteOff | channel), static_cast<std::uint8_t>(pitch.value()), 64},
          3,
          port};
}
constexpr Event control_change(Micros at, std::uint8_t channel, std::uint8_t controller, std::uint8_t value,
                               PortNumber port = 0) {
  return {at, {static_cast<std::uint8_t>(kControlChange | channel), controller, value}, 3, port};
}

}  // namespace undersong::midi
