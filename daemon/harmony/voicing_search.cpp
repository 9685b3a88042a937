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
  Search(std::span<const int> tones, const Room& room, int least_gap)
      : tones_(tones), room_(room), top_(room.melody.back()), least_gap_(least_gap) {
    for (int note : room.melody) {
      const int way = 2 * room.hands.way(note);
      melody_.counted += way;
      melody_.price += way + height_price(note);
      melody_keys_.toggle(note);
    }
  }

  // Every bass in turn, the most promising first.
  void run(PitchClass bass) {
    struct Start {
      int bass, bound;
    };
    FixedVector<Start, 4> starts;
    for (int key = kLowestBass + ascending(PitchClass(kLowestBass), bass); key <= kHighestBass && key < room_.melody[0]; key += 12) {
      const int bound = 2 * room_.hands.way(key) + height_price(key) + bass_price(key);
      std::size_t at = 0;
      while (at < starts.size() && starts[at].bound <= bound) ++at;
      starts.insert(at, {key, bound});
    }
    for (const Start& start : starts) with_bass(start.bass, start.bound);
  }

  const Keys& best() const { return best_; }

 private:
  struct Sum {
    int price = 0;    // at least
    int counted = 0;  // of it, what finish() counts exactly: ways to the nearest finger, tones close under the melody
  };

  bool may_stand(int key) const {
    return key > bass_ && key < top_ && (key <= bass_ + kHandSpan || key >= top_ - kHandSpan);
  }

  void with_bass(int bass, int bound) {
    bass_ = bass;
    for (std::size_t i = tones_.size(); i-- > 0;) {
      const std::uint8_t* first = room_.inner[static_cast<std::size_t>(tones_[i])].data();
      while (*first && !may_stand(*first)) ++first;
      if (!*first) return;
      first_[i] = first;
      least_[i] = least_[i + 1] + room_.bound[*first];
    }
    down_ = melody_keys_;
    down_.toggle(bass);
    place(0, {melody_.price + bound, melody_.counted + 2 * room_.hands.way(bass)});
  }

  void place(std::size_t i, Sum sum) {
    if (i == tones_.size()) return finish(sum);
    for (const std::uint8_t* at = first_[i]; const int key = *at; ++at) {
      const int bound = room_.bound[static_cast<std::size_t>(key)];
      if (sum.price + bound + least_[i + 1] >= best_price_) return;  // the others cost more still
      if (!may_stand(key) || down_.contains(key)) continue;
      down_.toggle(key);
      place(i + 1, {sum.price + bound, sum.counted + bound - height_price(key)});
      down_.toggle(key);
    }
  }

  // The price as in price(), part by part, so that most layouts are given up early.
  void finish(Sum sum) {
    if (sum.price >= best_price_) return;
    const Keys keys = down_.keys();
    int neighbours = 0;
    for (std::size_t i = 1; i < keys.size(); ++i) {
      neighbours += neighbour_price(keys[i - 1], keys[i], i + 1 == keys.size());
      if (i + room_.melody.size() <= keys.size() && keys[i] - keys[i - 1] < least_gap_) return;
    }
    // The counted part holds what stands close under the melody, and that is among the neighbours.
    int close = 0;
    for (std::size_t i = keys.size() - 1; i-- > 1 && top_ - keys[i] <= 2;) close += is_melody(keys[i]) ? 0 : under_top_price(top_ - keys[i]);
    sum.price += neighbours - close;
    sum.counted -= close;
    if (sum.price >= best_price_) return;
    const std::size_t s = split(keys);
    if (s == 0) return;
    sum.price += hole_price(keys, s);
    if (sum.price >= best_price_) return;
    sum.price += 2 * room_.hands.motion({keys.begin(), keys.size()}) - sum.counted;
    if (sum.price >= best_price_) return;
    best_price_ = sum.price;
    best_ = keys;
  }

  bool is_melody(int key) const { return melody_keys_.contains(key); }

  std::span<const int> tones_;
  const Room& room_;
  const int top_;
  int least_gap_, bass_ = 0;
  Sum melody_;
  Down melody_keys_, down_;
  std::array<const std::uint8_t*, kMaxInner> first_;
  std::array<int, kMaxInner + 1> least_{};
  Keys best_;
  int best_price_ = kUnplayable;
};

}  // namespace

Room::Room(const Keys& notes, const Hands& where) : melody(notes), hands(where) {
  const int top = melody.empty() ? 0 : melody.back();
  for (int key = 0; key < 128; ++key) {
    const int close = key < top ? under_top_price(top - key) : 0;
    bound[static_cast<std::size_t>(key)] = static_cast<std::uint16_t>(2 * hands.way(key) + height_price(key) + close);
  }
  for (int key = kLowestInner; key < top; ++key) {
    auto& places = inner[static_cast<std::size_t>(key % 12)];
    std::size_t at = 0;
    while (places[at] && bound[places[at]] <= bound[static_cast<std::size_t>(key)]) ++at;
    for (std::size_t i = places.size() - 1; i > at; --i) places[i] = places[i - 1];
    places[at] = static_cast<std::uint8_t>(key);
  }
}

PitchClassSet present_in(const Chord& chord, const Keys& melody) {
  PitchClassSet out;
  for (int note : melody) out.insert(PitchClass(note));
  out.insert(chord.bass);
  return out;
}

Keys search(const Chord& chord, const Room& room, FixedVector<int, kMaxInner> tones, int least_gap) {
  if (room.melody.empty()) return {};
  for (;;) {
    Search layouts({tones.begin(), tones.size()}, room, least_gap);
    layouts.run(chord.bass);
    if (!layouts.best().empty() || tones.empty()) return layouts.best();
    tones.pop_back();
  }
}

}  // namespace undersong::harmony
