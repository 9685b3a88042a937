// What the player tried and liked, counted by root and family. Declared in alternatives.h, beside the
// question that uses them.
#include <algorithm>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {

void Tried::add(const Chord& chord) {
  families_[static_cast<std::size_t>(chord.root.value())] |=
      static_cast<std::uint8_t>(1u << static_cast<unsigned>(row(chord.quality).family));
}
bool Tried::contains(const Chord& chord) const {
  return families_[static_cast<std::size_t>(chord.root.value())] >>
             static_cast<unsigned>(row(chord.quality).family) &
         1u;
}

void Liked::add(const Chord& chord, int times) {
  std::uint8_t& count = times_[static_cast<std::size_t>(chord.root.value())]
                              [static_cast<std::size_t>(row(chord.quality).family)];
  count = static_cast<std::uint8_t>(std::clamp(count + times, 0, kMost));
}
int Liked::times(const Chord& chord) const {
  return times_[static_cast<std::size_t>(chord.root.value())]
               [static_cast<std::size_t>(row(chord.quality).family)];
}

}  // namespace undersong::harmony
