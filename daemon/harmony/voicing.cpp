#include "daemon/harmony/voicing.h"

#include <algorithm>
#include <cstdlib>
#include <limits>

#include "daemon/harmony/voicing_price.h"
#include "daemon/harmony/voicing_search.h"

namespace undersong::harmony {

Hands::Hands() {
  constexpr std::array<Pitch, 4> kRest{Pitch(43), Pitch(55), Pitch(60), Pitch(67)};
  *this = Hands(kRest);
}

Hands::Hands(std::span<const Pitch> held) {
  if (held.empty()) {
    *this = Hands();
    return;
  }
  std::array<bool, 128> down{};
  for (Pitch note : held) down[static_cast<std::size_t>(note.value())] = true;
  // Two sweeps: the distance to the nearest key below, then above.
  int nearest = 127;
  for (std::size_t key = 0; key < 128; ++key) {
    nearest = down[key] ? 0 : std::min(127, nearest + 1);
    way_[key] = static_cast<std::uint8_t>(nearest);
  }
  nearest = 127;
  for (std::size_t key = 128; key-- > 0;) {
    nearest = down[key] ? 0 : std::min(127, nearest + 1);
    way_[key] = static_cast<std::uint8_t>(std::min<int>(way_[key], nearest));
  }
  FixedVector<std::uint8_t, 128> all;
  for (std::size_t key = 0; key < 128; ++key)
    if (down[key]) all.push_back(static_cast<std::uint8_t>(key));
  for (std::size_t i = 0; i < all.size(); ++i)
    if (i < kNotesInHand || i + kNotesInHand >= all.size()) held_.push_back(all[i]);
}

int Hands::motion(std::span<const int> keys) const {
  // Fingers in order take keys in order, because the least motion never has to cross. cost[j] is the cost of
  // the keys so far: if only the first j fingers may be used, or, with fewer fingers than keys, if finger j
  // (from 1) is the last one used.
  constexpr int kNever = std::numeric_limits<int>::max() / 2;
  const std::size_t fingers = held_.size();
  if (keys.size() == fingers) {
    int sum = 0;
    for (std::size_t i = 0; i < fingers; ++i) sum += std::abs(keys[i] - held_[i]);
    return sum;
  }
  std::array<int, 2 * kNotesInHand + 1> cost;
  if (keys.size() <= fingers) {
    cost.fill(0);  // no key is taken yet, so nothing has moved
    const std::size_t spare = fingers - keys.size();
    for (std::size_t i = 0; i < keys.size(); ++i) {
      // Finger j can take key i if i fingers before it took the other keys and enough fingers follow.
      int before = cost[i];
      int best = kNever;
      for (std::size_t j = i; j <= i + spare; ++j) {
        best = std::min(best, before + std::abs(keys[i] - held_[j]));
        before = cost[j + 1];
        cost[j + 1] = best;
      }
    }
    return cost[fingers];
  }
  cost.fill(kNever);
  cost[0] = 0;
  for (std::size_t i = 0; i < keys.size(); ++i) {
    int before = cost[0];
    cost[0] = kNever;
    for (std::size_t j = 0; j < fingers; ++j) {
      const int here = std::min(before, cost[j + 1]) + std::abs(keys[i] - held_[j]);
      before = cost[j + 1];
      cost[j + 1] = std::min(here, kNever);
    }
  }
  return cost[fingers];
}

Voicing voice(const Chord& chord, std::span<const Pitch> melody, const Hands& hands) {
  return voice(chord, Room(kept_melody(melody), hands));
}

Voicing voice(const Chord& chord, const Room& room) {
  const Found found = search(chord, room, inner_tones(chord, present_in(chord, room.melody)), 0);
  // If there is no room for a bass under the melody, play the melody alone.
  return found.keys.empty() ? laid_out(room.melody, split(room.melody), room.hands)
                            : laid_out(found.keys, found.split_at, found.motion);
}

}  // namespace undersong::harmony
