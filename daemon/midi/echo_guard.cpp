#include "daemon/midi/echo_guard.h"

#include <algorithm>

namespace undersong::midi {

Event EchoGuard::comparable(const Event& message) {
  Event plain{Micros(0), message.bytes, message.size, kNoPort};
  if (message.size < 3) plain.bytes[2] = 0;
  if (message.size < 2) plain.bytes[1] = 0;
  if (message.size == 3 && (message.kind() == kNoteOn || message.kind() == kNoteOff)) {
    const bool on = message.kind() == kNoteOn && message.bytes[2] > 0;
    plain.bytes = {static_cast<std::uint8_t>((on ? kNoteOn : kNoteOff) | message.channel()), message.bytes[1],
                   0};
  }
  return plain;
}

void EchoGuard::sent(const Event& message) {
  Sent& slot = ring_[next_];
  slot.message = comparable(message);
  slot.message.at = message.at;
  slot.heard.reset();
  next_ = (next_ + 1) % kRemembered;
  count_ = std::min(count_ + 1, kRemembered);
}

bool EchoGuard::is_echo(const Event& received) {
  Event plain = comparable(received);
  // Oldest first, so that a repeated note's echoes are explained in the order in which it was sent.
  for (std::size_t age = count_; age > 0; --age) {
    Sent& slot = ring_[(next_ + kRemembered - age) % kRemembered];
    if (received.at < slot.message.at || received.at - slot.message.at > window_) continue;
    plain.at = slot.message.at;
    if (slot.message != plain || slot.heard[received.port]) continue;
    slot.heard.set(received.port);
    return true;
  }
  return false;
}

}  // namespace undersong::midi
