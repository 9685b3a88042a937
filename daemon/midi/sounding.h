// Sounding: remembers what was switched on at an output and not yet off, so that nothing is left hanging.
//
// Covers notes, the sustain, sostenuto and soft pedals, and pitch bend, for each channel.
//
// Units: MIDI controller numbers and values.
// Threads: one owner.
// Errors: none; all functions are total. Fixed memory, no allocation.
// Source: MIDI 1.0 Detailed Specification (MMA, 1996), controller numbers.
#pragma once

#include <array>
#include <bitset>
#include <functional>

#include "daemon/midi/event.h"

namespace undersong::midi {

class Sounding {
 public:
  // Call it for every message sent.
  void sent(const Event& message);
  // True when nothing is on.
  bool nothing() const;
  // Calls `send` with every message that ends what is on: note-offs first, then pedals up, then pitch bend to
  // the centre. `send` runs on the calling thread. Afterwards nothing is on. When `send`
  // throws, what was not ended yet is still on: call again.
  void release(Micros at, const std::function<void(const Event&)>& send);

 private:
  static constexpr std::array<std::uint8_t, 3> kPedals{64, 66, 67};
  struct Channel {
    std::bitset<128> notes;
    std::bitset<3> pedals;  // in the order of kPedals
    bool bent = false;
  };
  std::array<Channel, 16> channels_;
};

}  // namespace undersong::midi
