#include "daemon/harmony/voicing_search.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>
#include <span>

namespace undersong::harmony {
namespace {

// Keys that are down, in order without sorting.
struct Down {
  std::uint64_t low = 0, high = 0;
  bool contains(int key) const { return (key < 64 ? low >> key : high >> (key - 64)) & 1u; }
  void toggle(int key) { (key < 64 ? low : high) ^= std::uint64_t{1} << (key & 63); }
  Keys keys() const {
    Keys out;
    for (std::uint64_t left = low; left; left &= left - 1) out.push_back(std::countr_zero(left));
    for (std::uint64_t left = high; left; left &= left - 1) out.push_back(64 + std::countr_zero(left));
    return out;
  }
};

class Search {
 public:
  Search(std::span<const int> tones, const Keys& melody, int least_gap, const Hands& hands)
      : tones_(tones), melody_(melody), least_gap_(least_gap), hands_(hands) {}

  // Every bass in turn, the most promising first.
  void run(PitchClass bass) {
    struct Start {
      int bass, bound;
    };
    FixedVector<Start, 4> starts;
    for (int key = kLowestBass + ascending(PitchClass(kLowestBass), bass); key <= kHighestBass && key < melody_[0]; key += 12) {
      const int bound = 2 * hands_.way(key) + height_price(key) + bass_price(key);
      std::size_t at = 0;
      while (at < starts.size() && starts[at].bound <= bound) ++at;
      starts.insert(at, {key, bound});
    }
    for (const Start& start : starts) with_bass(start.bass);
  }

  const Keys& best() const { return best_; }

 private:
  // A place for a tone; its price is the bound that prunes: height, and twice the way to the nearest finger.
  struct Place {
    int key = 0;
    int bound = 0;
    int ways = 0;
  };
  static constexpr std::size_t kMostPlaces = 8;

  void with_bass(int bass) {
    const int top = melody_[melody_.size() - 1];
    const int from = std::max(kLowestInner, bass + 1);
    for (std::size_t i = tones_.size(); i-- > 0;) {
      places_[i].clear();
      for (int key = from + (tones_[i] + 120 - from) % 12; key < top; key += 12) {
        if (key > bass + kHandSpan && key < top - kHandSpan) continue;
        const int ways = 2 * hands_.way(key), bound = ways + height_price(key);
        std::size_t at = 0;
        while (at < places_[i].size() && places_[i][at].bound <= bound) ++at;
        places_[i].insert(at, {key, bound, ways});
      }
      if (places_[i].empty()) return;
      least_[i] = least_[i + 1] + places_[i][0].bound;
    }
    int ways = 2 * hands_.way(bass), at_least = bass_price(bass) + height_price(bass) + ways;
    down_ = {};
    down_.toggle(bass);
    for (int note : melody_) {
      const int way = 2 * hands_.way(note);
      ways += way;
      at_least += way + height_price(note);
      down_.toggle(note);
    }
    place(0, at_least, ways);
  }

  void place(std::size_t i, int at_least, int ways) {
    if (i == tones_.size()) return finish(at_least, ways);
    for (const Place& choice : places_[i]) {
      if (at_least + choice.bound + least_[i + 1] >= best_price_) return;  // the others cost more still
      if (down_.contains(choice.key)) continue;
      down_.toggle(choice.key);
      place(i + 1, at_least + choice.bound, ways + choice.ways);
      down_.toggle(choice.key);
    }
  }

  // The price as in price(), part by part, so that most layouts are given up early.
  void finish(int at_least, int ways) {
    if (at_least >= best_price_) return;
    const Keys keys = down_.keys();
    for (std::size_t i = 1; i < keys.size(); ++i) {
      at_least += neighbour_price(keys[i - 1], keys[i], i + 1 == keys.size());
      if (i + melody_.size() <= keys.size() && keys[i] - keys[i - 1] < least_gap_) return;
    }
    if (at_least >= best_price_) return;
    const std::size_t s = split(keys);
    if (s == 0) return;
    at_least += hole_price(keys, s);
    if (at_least >= best_price_) return;
    at_least += 2 * hands_.motion({keys.begin(), keys.size()}) - ways;
    if (at_least >= best_price_) return;
    best_price_ = at_least;
    best_ = keys;
  }

  std::span<const int> tones_;
  const Keys& melody_;
  int least_gap_;
  const Hands& hands_;
  Down down_;
  std::array<FixedVector<Place, kMostPlaces>, kMaxInner> places_;
  std::array<int, kMaxInner + 1> least_{};
  Keys best_;
  int best_price_ = kUnplayable;
};

}  // namespace

PitchClassSet present_in(const Chord& chord, const Keys& melody) {
  PitchClassSet out;
  for (int note : melody) out.insert(PitchClass(note));
  out.insert(chord.bass);
  return out;
}

Keys search(const Chord& chord, const Keys& melody, FixedVector<int, kMaxInner> tones, int least_gap, const Hands& hands) {
  if (melody.empty()) return {};
  for (;;) {
    Search layouts({tones.begin(), tones.size()}, melody, least_gap, hands);
    layouts.run(chord.bass);
    if (!layouts.best().empty() || tones.empty()) return layouts.best();
    tones.pop_back();
  }
}

}  // namespace undersong::harmony
