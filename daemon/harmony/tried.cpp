#include "daemon/harmony/tried.h"

#include <algorithm>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {

bool is_played_as(const Chord& shown, const Chord& played) {
  if (shown.root != played.root || shown.quality != played.quality) return false;
  if (shown.bass != shown.root) return shown.bass == played.bass;
  return row(played.quality).tones.contains(PitchClass(ascending(played.root, played.bass)));
}

void Tried::add(const Chord& chord, int times) {
  Entry entry{chord, 0};
  for (std::size_t i = 0; i < chords_.size(); ++i) {
    if (chords_[i].chord != chord) continue;
    entry = chords_[i];
    chords_.erase(i);
    break;
  }
  entry.times = static_cast<std::uint8_t>(std::clamp(entry.times + times, 0, 255));
  if (entry.times == 0) return;
  if (chords_.full()) chords_.pop_back();
  chords_.insert(0, entry);
}

int Tried::times(const Chord& shown) const {
  int sum = 0;
  for (const Entry& entry : chords_)
    if (is_played_as(shown, entry.chord)) sum += entry.times;
  return std::min(sum, 255);
}

void Liked::add(const Chord& chord, int times) {
  chords_.add(chord, times);
  std::uint8_t& count =
      kin_[static_cast<std::size_t>(chord.root.value())][static_cast<std::size_t>(row(chord.quality).family)];
  count = static_cast<std::uint8_t>(std::clamp(count + times, 0, kMostKin));
}

}  // namespace undersong::harmony
