#include "daemon/harmony/melody.h"

namespace undersong::harmony {

void StandingMelody::add(Pitch pitch, Micros onset, bool held) {
  const Note note{pitch, onset, held, false};
  FixedVector<Note, kMost> next{note};
  for (const Note& before : newest_)
    if (before.held && !before.supposed && before.pitch != pitch) next.push_back(before);
  newest_ = next;
}

void StandingMelody::release(Pitch pitch) {
  for (std::size_t i = newest_.size(); i-- > 0;) {
    if (newest_[i].pitch != pitch) continue;
    if (newest_.size() > 1) {
      newest_.erase(i);
    } else {
      newest_[i].held = false;
    }
  }
}

}  // namespace undersong::harmony
