#include "daemon/listen/returns.h"

#include <algorithm>
#include <limits>
#include <tuple>

namespace undersong::listen {

void Returns::settled(const harmony::Chord& chord, Micros at) {
  if (chord == last_) return;
  last_ = chord;
  auto found =
      std::find_if(known_.begin(), known_.end(), [&](const Return& each) { return each.chord == chord; });
  if (found == known_.end()) {
    if (known_.full()) {
      found = std::min_element(known_.begin(), known_.end(), [](const Return& a, const Return& b) {
        return std::tie(a.times, a.last) < std::tie(b.times, b.last);
      });
      *found = {chord, {}, 0, at};
    } else {
      known_.push_back({chord, {}, 0, at});
      found = known_.end() - 1;
    }
  }
  if (found->times < std::numeric_limits<std::uint16_t>::max()) ++found->times;
  found->last = at;
  if (found->times > 1) ++number_;
}

void Returns::clear() {
  known_.clear();
  last_.reset();
  ++number_;
}

FixedVector<Return, Returns::kShown> Returns::most() const {
  FixedVector<Return, kShown> out;
  const auto before = [](const Return& a, const Return& b) {
    return std::tie(a.times, a.last) > std::tie(b.times, b.last);
  };
  for (const Return& each : known_) {
    if (each.times < 2) continue;
    std::size_t place = 0;
    while (place < out.size() && before(out[place], each)) ++place;
    if (place == kShown) continue;
    if (out.full()) out.pop_back();
    out.insert(place, each);
  }
  return out;
}

}  // namespace undersong::listen
