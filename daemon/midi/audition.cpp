#include "daemon/midi/audition.h"

#include <algorithm>

namespace undersong::midi {

void Audition::play(std::span<const Pitch> chord, const Strike& strike, Micros now, const Send& send) {
  stop(now, send);
  strike_ = strike;
  strike_.channel &= 0x0F;
  strike_.roll = std::max(strike.roll, Micros(0));
  strike_.velocity = std::max(strike.velocity, Velocity(1));  // a note-on of velocity 0 is a note-off
  std::array<bool, 128> wanted{};
  for (Pitch pitch : chord) wanted[static_cast<std::size_t>(pitch.value())] = true;
  for (int key = 0; key < 128 && count_ < kMostNotes; ++key) {
    if (!wanted[static_cast<std::size_t>(key)]) continue;
    notes_[count_] = {Pitch(key), now + strike_.roll * static_cast<int>(count_), false};
    ++count_;
  }
  if (count_ == 0) return;
  release_ = notes_[count_ - 1].on + std::max(strike.duration, Micros(1));
  advance(now, send);
}

void Audition::advance(Micros now, const Send& send) {
  for (Note& note : std::span(notes_.data(), count_)) {
    if (note.sounding || note.on > now) continue;
    note.sounding = true;
    send(note_on(note.on, strike_.channel, note.pitch, strike_.velocity));
  }
  if (count_ > 0 && release_ <= now) stop(release_, send);
}

void Audition::stop(Micros now, const Send& send) {
  for (const Note& note : std::span(notes_.data(), count_)) {
    if (note.sounding) send(note_off(now, strike_.channel, note.pitch));
  }
  count_ = 0;
}

std::optional<Micros> Audition::next_deadline() const {
  if (count_ == 0) return std::nullopt;
  for (const Note& note : std::span(notes_.data(), count_)) {
    if (!note.sounding) return note.on;  // the lowest note is also the earliest
  }
  return release_;
}

}  // namespace undersong::midi
