// KeysDown tracks which keys and pedals are down in a stream of events, so that they can be released where
// the stream has a gap.
//
// After a gap nobody knows whether a key is still down. The live listener releases everything on that input.
// Code that plays, exports or analyses the take must do the same, or notes would hang.
//
// Units: Micros of the stream; time is an argument.
// Threads: one owner; not synchronised.
// Errors: none; events other than notes and pedals are ignored.
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
  // Appends messages that release everything that is down on `input`, keys first.
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
  // Input, channel, is a pedal, number.
  using Key = std::tuple<midi::PortNumber, std::uint8_t, bool, std::uint8_t>;
  std::set<Key> down_;
};

}  // namespace undersong::takes
