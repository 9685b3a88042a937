#include "daemon/harmony/melody.h"

namespace undersong::harmony {
namespace {
constexpr int kLowestMelody = 55;  // G3: below, the left hand is taken to accompany
}

bool MelodyLine::strike(Micros at, Pitch pitch) {
  down_[static_cast<std::size_t>(pitch.value())] = true;
  if (pitch.value() < kLowestMelody) return false;
  for (std::size_t key = static_cast<std::size_t>(pitch.value()) + 1; key < down_.size(); ++key)
    if (down_[key]) return false;
  const Note note{pitch, at, true};
  if (!newest_.empty() && newest_[0].held && newest_[0].pitch != pitch && newest_[0].since + Micros(60'000) > at) {
    newest_[0] = note;  // the top of one rolled chord, not a second melody note
    return true;
  }
  if (!newest_.empty() && newest_[0].held && newest_[0].pitch != pitch) {
    const Note before = newest_[0];
    newest_.clear();
    newest_.push_back(note);
    newest_.push_back(before);
  } else {
    newest_.clear();
    newest_.push_back(note);
  }
  return true;
}

void MelodyLine::release(Pitch pitch) {
  down_[static_cast<std::size_t>(pitch.value())] = false;
  if (newest_.size() > 1 && newest_[1].pitch == pitch) newest_.pop_back();
  if (newest_.empty() || newest_[0].pitch != pitch) return;
  if (newest_.size() > 1) {
    newest_.erase(0);  // the older note is still held: it is the melody again
  } else {
    newest_[0].held = false;
  }
}

}  // namespace undersong::harmony
