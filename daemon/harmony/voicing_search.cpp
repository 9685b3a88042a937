#include "daemon/harmony/voicing_search.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstdint>
#include <span>
#include <utility>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// A set of keys that yields them in order without sorting.
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

// Bit g of [bass - kLowestBass]: a tone g semitones above this bass makes mud, whatever stands between.
constexpr auto kSureMud = [] {
  std::array<std::uint16_t, kHighestBass - kLowestBass + 1> out{};
  for (std::size_t b = 0; b < out.size(); ++b) {
    const int bass = kLowestBass + static_cast<int>(b);
    unsigned clear = 1;  // bit g: reachable from the bass by clear steps
    for (int g = 1; g <= 12; ++g)
      for (int step = 1; step <= g; ++step)
        if ((clear >> (g - step) & 1u) && bass + g - step >= kLowIntervals[static_cast<std::size_t>(step)])
          clear |= 1u << g;
    out[b] = static_cast<std::uint16_t>(~clear & 0x1FFFu);
  }
  return out;
}();

class LayoutSearch {
 public:
  LayoutSearch(std::span<const int> tones, const Room& room, int least_gap)
      : tones_(tones),
        room_(room),
        own_finger_(1 + tones.size() + room.melody.size() <= room.hands.fingers()),
        places_(own_finger_ ? room.inner_fingers : room.any_finger),
        top_(room.melody.back()),
        least_gap_(least_gap) {
    const std::size_t fingers = room.hands.fingers();
    for (std::size_t i = 0; i < room.melody.size(); ++i) {
      const int note = room.melody[i];
      // Notes that are certainly below this one take fingers below, and notes above take fingers above. Inner
      // tones stand below the highest note.
      const std::size_t below = i + 1 + (note == top_ ? tones.size() : 0), above = room.melody.size() - 1 - i;
      melody_.ways +=
          2 * (own_finger_ ? room.hands.way(note, below, fingers - 1 - above) : room.hands.way(note));
      melody_.price += height_price(note);
      melody_keys_.toggle(note);
    }
    melody_.price += melody_.ways;
  }

  // Tries every bass, the most promising first.
  void run(PitchClass bass) {
    FixedVector<Start, 4> starts;
    for (int key = kLowestBass + ascending(PitchClass(kLowestBass), bass);
         key <= kHighestBass && key < room_.melody[0]; key += 12) {
      const std::size_t above = tones_.size() + room_.melody.size();
      const int ways = 2 * (own_finger_ ? room_.hands.way(key, 0, room_.hands.fingers() - 1 - above)
                                        : room_.hands.way(key));
      const int bound = ways + height_price(key) + bass_price(key);
      std::size_t at = 0;
      while (at < starts.size() && starts[at].bound <= bound) ++at;
      starts.insert(at, {key, bound, ways});
    }
    for (const Start& start : starts) with_bass(start);
  }

  const Found& best() const { return best_; }

 private:
  struct Sum {
    int price = 0;  // lower bound on the price
    // The parts of it that finish() replaces by exact values. ways: distances to the nearest finger.
    // neighbours: tones close under the melody, and certain mud.
    int ways = 0, neighbours = 0;
  };
  struct Start {
    int bass, bound, ways;
  };

  bool may_stand(int key) const {
    return key > bass_ && key < top_ && (key <= bass_ + room_.hands.reach() || key >= top_ - kHandSpan);
  }

  void with_bass(const Start& start) {
    bass_ = start.bass;
    sure_mud_ = kSureMud[static_cast<std::size_t>(bass_ - kLowestBass)];
    // Far apart, no key can be reached by both hands: how high the left one may come, and how low the right
    // one.
    const bool apart = top_ - bass_ > room_.hands.reach() + kHandSpan;
    int left = bass_, right = room_.melody[0];
    for (std::size_t i = tones_.size(); i-- > 0;) {
      const std::uint8_t* first = places_.keys[static_cast<std::size_t>(tones_[i])].data();
      while (*first && !may_stand(*first)) ++first;
      if (!*first) return;
      first_[i] = first;
      least_[i] = least_[i + 1] + places_.bound[*first];
      if (!apart) continue;
      for (const std::uint8_t* at = first; *at; ++at) {
        if (!may_stand(*at)) continue;
        if (*at <= bass_ + room_.hands.reach())
          left = std::max<int>(left, *at);
        else
          right = std::min<int>(right, *at);
      }
    }
    hole_ = apart ? hole_price(right - left) : 0;
    down_ = melody_keys_;
    down_.toggle(bass_);
    muddy_ = false;
    place(0, {melody_.price + start.bound + hole_, melody_.ways + start.ways, 0});
  }

  void place(std::size_t i, Sum sum) {
    if (i == tones_.size()) return finish(sum);
    for (const std::uint8_t* at = first_[i]; const int key = *at; ++at) {
      const int bound = places_.bound[static_cast<std::size_t>(key)];
      if (sum.price + bound + least_[i + 1] >= best_price_) return;  // the remaining places cost even more
      if (!may_stand(key) || down_.contains(key)) continue;
      const int close = key >= top_ - 2 ? under_top_price(top_ - key) : 0,
                ways = places_.ways[static_cast<std::size_t>(key)];
      const bool muddy =
          std::exchange(muddy_, muddy_ || (key <= bass_ + 12 && (sure_mud_ >> (key - bass_) & 1u)));
      const int mud = muddy_ && !muddy ? kMud : 0;
      if (sum.price + bound + mud + least_[i + 1] < best_price_) {
        down_.toggle(key);
        place(i + 1, {sum.price + bound + mud, sum.ways + ways, sum.neighbours + close + mud});
        down_.toggle(key);
      }
      muddy_ = muddy;
    }
  }

  // Computes the price as in price(), part by part, so that most layouts are abandoned early.
  void finish(Sum sum) {
    if (sum.price >= best_price_) return;
    const Keys keys = down_.keys();
    int neighbours = 0;
    for (std::size_t i = 1; i < keys.size(); ++i) {
      neighbours += neighbour_price(keys[i - 1], keys[i], i + 1 == keys.size());
      if (i + room_.melody.size() <= keys.size() && keys[i] - keys[i - 1] < least_gap_) return;
    }
    sum.price += neighbours - sum.neighbours;
    if (sum.price >= best_price_) return;
    const std::size_t s = split(keys, room_.hands.reach());
    if (s == 0) return;
    sum.price += hands_price(keys, s, room_.hands.reach()) - hole_;
    if (sum.price >= best_price_) return;
    const int motion = room_.hands.motion({keys.begin(), keys.size()});
    sum.price += 2 * motion - sum.ways;
    if (sum.price >= best_price_) return;
    best_price_ = sum.price;
    best_ = {keys, s, motion, sum.price};
  }

  std::span<const int> tones_;
  const Room& room_;
  const bool own_finger_;
  const Room::Places& places_;
  const int top_;
  int least_gap_, bass_ = 0;
  int hole_ = 0;  // the gap between the hands that is certain
  unsigned sure_mud_ = 0;
  bool muddy_ = false;  // the tones placed so far certainly make mud
  Sum melody_;
  Down melody_keys_, down_;
  std::array<const std::uint8_t*, kMaxInner> first_;
  std::array<int, kMaxInner + 1> least_{};
  Found best_;
  int best_price_ = kUnplayable;
};

}  // namespace

Room::Room(const Keys& notes, const Hands& where) : melody(notes), hands(where) {
  if (hands.fingers() < 1 + melody.size() + kMaxInner) fill(any_finger, 0, hands.fingers() - 1);
  if (hands.fingers() > 1 + melody.size()) fill(inner_fingers, 1, hands.fingers() - 2);
}

void Room::fill(Places& places, std::size_t first, std::size_t last) const {
  const int top = melody.empty() ? 0 : melody.back();
  const bool all = first == 0;
  for (int key = kLowestInner; key < top; ++key) {
    const auto k = static_cast<std::size_t>(key);
    const int ways = 2 * (all ? hands.way(key) : hands.way(key, first, last));
    places.ways[k] = static_cast<std::uint8_t>(std::min(ways, 255));
    places.bound[k] =
        static_cast<std::uint16_t>(places.ways[k] + height_price(key) + under_top_price(top - key));
    auto& keys = places.keys[static_cast<std::size_t>(key % 12)];
    std::size_t at = 0;
    while (keys[at] && places.bound[keys[at]] <= places.bound[k]) ++at;
    for (std::size_t i = keys.size() - 1; i > at; --i) keys[i] = keys[i - 1];
    keys[at] = static_cast<std::uint8_t>(key);
  }
}

PitchClassSet present_in(const Chord& chord, const Keys& melody) {
  PitchClassSet out;
  for (int note : melody) out.insert(PitchClass(note));
  out.insert(chord.bass);
  return out;
}

Found search(const Chord& chord, const Room& room, FixedVector<int, kMaxInner> tones, int least_gap) {
  if (room.melody.empty()) return {};
  for (;;) {
    LayoutSearch layouts({tones.begin(), tones.size()}, room, least_gap);
    layouts.run(chord.bass);
    if (!layouts.best().keys.empty() || tones.empty()) return layouts.best();
    tones.pop_back();
  }
}

Found open_layout(const Chord& chord, const Room& room) {
  const auto tones = inner_tones(chord, present_in(chord, room.melody));
  Found best = search(chord, room, tones, 0);
  if (best.keys.empty()) return best;
  if (tones.size() == kMaxInner) return best;
  const int reach = room.hands.reach();
  if (hands_price(best.keys, split(best.keys, reach), reach) < kStrained) return best;
  const auto own = row(chord.quality).tones.transposed(chord.root.value());
  for (const PitchClass doubled :
       {chord.root, PitchClass(room.melody.back()), transpose(chord.root, fifth_of(chord.quality))}) {
    if (!own.contains(doubled)) continue;  // doubled, a tension would be too much of it
    auto more = tones;
    more.push_back(doubled.value());
    const Found fuller = search(chord, room, more, 0);
    if (fuller.keys.size() > best.keys.size() && fuller.price < best.price) best = fuller;
  }
  return best;
}

}  // namespace undersong::harmony
