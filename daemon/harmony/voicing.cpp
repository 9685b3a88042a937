#include "daemon/harmony/voicing.h"

#include <algorithm>
#include <cstdlib>
#include <limits>

#include "daemon/harmony/voicing_price.h"
#include "daemon/harmony/voicing_search.h"

namespace undersong::harmony {

Hands::Hands(std::span<const Pitch> held, int reach) : reach_(reach) {
  std::array<bool, 128> down{};
  for (Pitch note : held) down[static_cast<std::size_t>(note.value())] = true;
  FixedVector<std::uint8_t, 128> all;
  for (std::size_t key = 0; key < 128; ++key)
    if (down[key]) all.push_back(static_cast<std::uint8_t>(key));
  for (std::size_t i = 0; i < all.size(); ++i)
    if (i < kNotesInHand || i + kNotesInHand >= all.size()) held_.push_back(all[i]);
  fingers_ = held_;
  // A hand that holds nothing rests in its half of the keyboard, away from the other hand.
  const bool one_hand = all.size() <= kNotesInHand && (all.empty() || all.back() - all[0] <= kSmallReach);
  const bool right = all.empty() || all[0] + all.back() >= 2 * kMiddle;
  const auto rest = [&](std::initializer_list<int> keys, auto clear) {
    for (int key : keys)
      if (all.empty() || clear(key)) {
        std::size_t at = 0;
        while (at < fingers_.size() && fingers_[at] < key) ++at;
        fingers_.insert(at, static_cast<std::uint8_t>(key));
        down[static_cast<std::size_t>(key)] = true;
      }
  };
  if (one_hand && right) rest({43, 55}, [&](int key) { return key + 3 <= all[0]; });
  if (one_hand && (all.empty() || !right)) rest({60, 67}, [&](int key) { return key >= all.back() + 3; });
  // Two sweeps: the way from below, then from above.
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
}

namespace {

// The least motion of points onto places in order, each point to a place of its own. REQUIRES: not more
// points than places.
template <class Points, class Places>
int onto(const Points& points, const Places& places) {
  // Points in order take places in order: no least motion has to cross. cost[j] is for the points so far with
  // the j-th place the last one taken.
  std::array<int, 2 * kNotesInHand + 1> cost{};  // no point placed yet: nothing moved
  const std::size_t spare = places.size() - points.size();
  for (std::size_t i = 0; i < points.size(); ++i) {
    // Place j is best for point i when i places before it are taken and enough come after it.
    int before = cost[i], best = std::numeric_limits<int>::max() / 2;
    for (std::size_t j = i; j <= i + spare; ++j) {
      best = std::min(best, before + std::abs(points[i] - places[j]));
      before = cost[j + 1];
      cost[j + 1] = best;
    }
  }
  return cost[places.size()];
}

}  // namespace

int Hands::motion(std::span<const int> keys) const {
  constexpr int kNever = std::numeric_limits<int>::max() / 2;
  const std::size_t fingers = fingers_.size();
  if (keys.size() <= fingers) return onto(keys, fingers_);
  std::array<int, 2 * kNotesInHand + 1> cost;
  cost.fill(kNever);
  cost[0] = 0;
  for (std::size_t i = 0; i < keys.size(); ++i) {
    int before = cost[0];
    cost[0] = kNever;
    for (std::size_t j = 0; j < fingers; ++j) {
      const int here = std::min(before, cost[j + 1]) + std::abs(keys[i] - fingers_[j]);
      before = cost[j + 1];
      cost[j + 1] = std::min(here, kNever);
    }
  }
  return cost[fingers];
}

int Hands::moved(std::span<const int> keys) const {
  return keys.size() <= held_.size() ? onto(keys, held_) : onto(held_, keys);
}

Voicing voice(const Chord& chord, std::span<const Pitch> melody, const Hands& hands) {
  return voice(chord, Room(kept_melody(melody), hands));
}

Voicing voice(const Chord& chord, const Room& room) {
  const Found found = open_layout(chord, room);
  // No room for a bass under the melody: the melody alone.
  return found.keys.empty() ? laid_out(room.melody, split(room.melody, room.hands.reach()), room.hands)
                            : laid_out(found.keys, found.split_at, room.hands);
}

}  // namespace undersong::harmony
