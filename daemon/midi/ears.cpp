#include "daemon/midi/ears.h"

#include <algorithm>

namespace undersong::midi {
namespace {

constexpr std::uint8_t kSystemReset = 0xFF;
constexpr std::uint8_t kAllSoundOff = 120, kResetAllControllers = 121;

}  // namespace

bool is_wanted_message(const std::uint8_t* bytes, std::size_t size, bool pass_clock) noexcept {
  if (size == 0 || size > 3) return false;
  for (std::size_t i = 1; i < size; ++i) {
    if (bytes[i] & 0x80) return false;
  }
  const std::uint8_t status = bytes[0];
  if (status < 0x80) return false;
  if (status < 0xF0) return size == ((status & 0xE0) == 0xC0 ? 2u : 3u);
  if (!pass_clock) return false;
  if (status == 0xF2) return size == 3;
  return size == 1 && (status == 0xF8 || status == 0xFA || status == 0xFB || status == 0xFC);
}

void push_received(Lane& lane, Micros at, const std::uint8_t* bytes, std::size_t size,
                   bool pass_clock) noexcept {
  if (size == 1 && bytes[0] == kSystemReset) {
    for (std::uint8_t channel = 0; channel < 16; ++channel) {
      lane.push(control_change(at, channel, kAllSoundOff, 0));
      lane.push(control_change(at, channel, kResetAllControllers, 0));
    }
    return;
  }
  if (!is_wanted_message(bytes, size, pass_clock)) return;
  Event event{at, {}, static_cast<std::uint8_t>(size), kNoPort};
  std::copy(bytes, bytes + size, event.bytes.begin());
  lane.push(event);
}

}  // namespace undersong::midi
