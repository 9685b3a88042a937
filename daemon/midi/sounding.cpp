#include "daemon/midi/sounding.h"

#include <algorithm>

namespace undersong::midi {
namespace {

constexpr std::uint8_t kPitchBend = 0xE0;
constexpr std::uint8_t kCentre = 0x40;  // high seven bits of 8192, the centre

}  // namespace

void Sounding::sent(const Event& message) {
  if (message.size != 3) return;
  Channel& channel = channels_[message.channel()];
  if (message.kind() == kNoteOn || message.kind() == kNoteOff) {
    channel.notes[message.bytes[1] & 0x7F] = message.kind() == kNoteOn && message.bytes[2] > 0;
  } else if (message.kind() == kControlChange) {
    for (std::size_t i = 0; i < kPedals.size(); ++i)
      if (message.bytes[1] == kPedals[i]) channel.pedals[i] = message.bytes[2] > 0;
  } else if (message.kind() == kPitchBend) {
    channel.bent = message.bytes[1] != 0 || message.bytes[2] != kCentre;
  }
}

bool Sounding::nothing() const {
  return std::all_of(channels_.begin(), channels_.end(),
                     [](const Channel& c) { return c.notes.none() && c.pedals.none() && !c.bent; });
}

void Sounding::release(Micros at, const std::function<void(const Event&)>& send) {
  // What is on is forgotten only when its end was sent, so that after an exception the rest can still be
  // ended.
  for (std::uint8_t number = 0; number < channels_.size(); ++number) {
    auto& notes = channels_[number].notes;
    for (std::size_t key = 0; key < notes.size(); ++key) {
      if (!notes[key]) continue;
      send(note_off(at, number, Pitch(static_cast<int>(key))));
      notes.reset(key);
    }
  }
  for (std::uint8_t number = 0; number < channels_.size(); ++number) {
    Channel& channel = channels_[number];
    for (std::size_t i = 0; i < kPedals.size(); ++i) {
      if (!channel.pedals[i]) continue;
      send(control_change(at, number, kPedals[i], 0));
      channel.pedals.reset(i);
    }
    if (channel.bent) send({at, {static_cast<std::uint8_t>(kPitchBend | number), 0, kCentre}, 3, 0});
    channel.bent = false;
  }
}

}  // namespace undersong::midi
