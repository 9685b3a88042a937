// KeysDown: the keys and pedals that are down in a stream of events, to let them go where the stream has a
// gap.
//
// After a gap nobody knows whether a key is still down; who listened live let all of that input's go, and so
// must whoever plays, exports or analyses the take, or a note hangs. Threads: none; plain values. Time is
// data.
#pragma once

#include <set>
#include <tuple>
#include <vector>

#include "daemon/midi/event.h"

namespace undersong::takes {

class KeysDown {
 public:
  void apply(const midi::Event& event) {
    if (event.size != 3) return;
    const bool pedal =
        event.kind() == midi::kControlChange && (event.bytes[1] == kDamper || event.bytes[1] == kSostenuto);
    const bool note = event.kind() == midi::kNoteOn || event.kind() == midi::kNoteOff;
    if (!pedal && !note) return;
    const bool down = pedal ? event.bytes[2] >= 64 : event.kind() == midi::kNoteOn && event.bytes[2] > 0;
    const Key key{event.port, event.channel(), pedal, event.bytes[1]};
    if (down)
      down_.insert(key);
    else
      down_.erase(key);
  }
  // Appends the messages that let go of all that is down on an input, keys first.
  void release(midi::PortNumber input, Micros at, std::vector<midi::Event>& out) {
    for (auto key = down_.begin(); key != down_.end();) {
      const auto& [port, channel, pedal, number] = *key;
      if (port != input) {
        ++key;
        continue;
      }
      out.push_back(pedal ? midi::control_change(at, channel, number, 0, port)
                          : midi::note_off(at, channel, Pitch(number), port));
      key = down_.erase(key);
    }
  }

 private:
  static constexpr std::uint8_t kDamper = 64, kSostenuto = 66;
  using Key =
      std::tuple<midi::PortNumber, std::uint8_t, bool, std::uint8_t>;  // input, channel, is a pedal, number
  std::set<Key> down_;
};

}  // namespace undersong::takes
