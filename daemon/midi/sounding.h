// Sounding: what we have switched on at an output and not yet off, so that nothing is left hanging.
//
// Notes, the sustain, sostenuto and soft pedals, and a bent pitch, by channel. Pure; fixed memory; one owner.
#pragma once

#include <array>
#include <bitset>
#include <functional>

#include "daemon/midi/event.h"

namespace undersong::midi {

class Sounding {
 public:
  void sent(const Event& message);
  bool nothing() const;
  // Gives what ends it all to `send`: note-offs first, then pedals up, then the pitch straight. Nothing
  // sounds then.
  void release(Micros at, const std::function<void(const Event&)>& send);

 private:
  static constexpr std::array<std::uint8_t, 3> kPedals{64, 66, 67};
  struct Channel {
    std::bitset<128> notes;
    std::bitset<3> pedals;  // by kPedals
    bool bent = false;
  };
  std::array<Channel, 16> channels_;
};

}  // namespace undersong::midi
