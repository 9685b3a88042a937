// Voicings by style. Shell and spread are searches with other rules; the rest are stacks built from the
// melody or the root.
#include <algorithm>
#include <array>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/voicing.h"
#include "daemon/harmony/voicing_price.h"
#include "daemon/harmony/voicing_search.h"

namespace undersong::harmony {
namespace {

// A layout and its split between the hands.
struct Layout {
  Keys keys;
  std::size_t split_at = 0;
  int price = kUnplayable;
};

struct Wanted {
  const Chord& chord;
  const Keys& melody;
  const Hands& hands;
};

bool within_a_hand(const Keys& keys, std::size_t from, std::size_t to) {
  return to - from <= kNotesInHand && (to == from || keys[to - 1] - keys[from] <= kHandSpan);
}

// The layout with its price: kUnplayable if a hand cannot hold its part, notes coincide, or mud would sound.
Layout judged(const Keys& keys, std::size_t split_at, const Hands& hands) {
  Layout out{keys, split_at, kUnplayable};
  if (split_at == 0 || split_at >= keys.size()) return out;
  if (!within_a_hand(keys, 0, split_at) || !within_a_hand(keys, split_at, keys.size())) return out;
  for (std::size_t i = 0; i < keys.size(); ++i) {
    if (keys[i] < 0 || keys[i] > 127) return out;
    if (i > 0 && (keys[i] <= keys[i - 1] || neighbour_price(keys[i - 1], keys[i], false) >= kMud)) return out;
  }
  out.price = price(keys, split_at, hands);
  return out;
}

bool holds_all(const Keys& keys, const Keys& wanted) {
  return std::all_of(wanted.begin(), wanted.end(),
                     [&](int key) { return std::find(keys.begin(), keys.end(), key) != keys.end(); });
}

Layout searched(const Wanted& w, FixedVector<int, kMaxInner> tones, int least_gap) {
  const Keys keys = search(w.chord, Room(w.melody, w.hands), tones, least_gap).keys;
  if (keys.empty()) return {};
  return {keys, split(keys, w.hands.reach()), price(keys, w.hands)};
}

Layout shell(const Wanted& w) {
  FixedVector<int, kMaxInner> tones;
  const PitchClassSet present = present_in(w.chord, w.melody);
  const int seventh = seventh_of(w.chord.quality);
  for (int interval : {third_of(w.chord.quality), seventh ? seventh : fifth_of(w.chord.quality)}) {
    const PitchClass tone = transpose(w.chord.root, interval);
    if (interval && !present.contains(tone)) tones.push_back(tone.value());
  }
  return searched(w, tones, 0);
}

Layout spread(const Wanted& w) {
  constexpr int kFourth = 5;
  const Layout out = searched(w, inner_tones(w.chord, present_in(w.chord, w.melody)), kFourth);
  return out.keys.size() >= w.melody.size() + 2 ? out : Layout{};  // bass and melody alone are not a chord
}

// The tone that takes the place of the fifth, or of the root, when the bass plays the root; in semitones
// above the root.
int colour_for_fifth(Quality quality) {
  for (Degree degree : row(quality).degrees)
    if (degree.number == 13) return pitch_class_offset(degree);
  return fifth_of(quality) ? fifth_of(quality) : 7;
}
int colour_for_root(Quality quality) {
  for (Degree degree : row(quality).degrees)
    if (degree.number == 9) return pitch_class_offset(degree);
  return role(quality, 2) != Role::kAvoid && third_of(quality) != 2 ? 2 : 0;
}

Layout rootless(const Wanted& w, bool from_third) {
  const int third = third_of(w.chord.quality), seventh = seventh_of(w.chord.quality);
  if (!third || !seventh) return {};
  const int fifth = colour_for_fifth(w.chord.quality), ninth = colour_for_root(w.chord.quality);
  // Stack upwards, each tone the next one above the last.
  const std::array<int, 4> order =
      from_third ? std::array{third, fifth, seventh, ninth} : std::array{seventh, ninth, third, fifth};
  constexpr int kLowest = 46, kHighest = 62;
  Layout best;
  for (int bottom = kLowest + ascending(PitchClass(kLowest), transpose(w.chord.root, order[0]));
       bottom <= kHighest; bottom += 12) {
    Keys keys;
    keys.push_back(bottom);
    for (std::size_t i = 1; i < order.size(); ++i) {
      const int up = ascending(PitchClass(keys.back()), transpose(w.chord.root, order[i]));
      keys.push_back(keys.back() + (up == 0 ? 12 : up));
    }
    if (keys.back() - keys[0] >= 12 || keys.back() >= w.melody[0]) continue;
    const std::size_t split_at = keys.size();
    for (int note : w.melody) keys.push_back(note);
    const Layout made = judged(keys, split_at, w.hands);
    if (made.price < best.price) best = made;
  }
  return best;
}

// Four voices in close position, downwards from the melody, returned lowest first; empty if the chord has too
// few tones.
Keys close_position(const Wanted& w) {
  const int top = w.melody.back();
  const Quality quality = w.chord.quality;
  const int seventh = seventh_of(quality);
  std::array<int, 4> members{0, third_of(quality), fifth_of(quality), seventh ? seventh : 12};
  if (!members[1] || !members[2]) return {};
  // A melody note that is not a member replaces the nearest member, the lower of two equally near ones.
  const int melody = ascending(w.chord.root, PitchClass(top));
  std::size_t replaced = members.size();
  int nearest = 3;
  for (std::size_t i = 0; i < members.size(); ++i) {
    const int below = (melody - members[i] % 12 + 12) % 12, apart = std::min(below, 12 - below);
    if (apart < nearest || (apart == nearest && below == apart)) nearest = apart, replaced = i;
  }
  if (replaced == members.size() || (role(quality, melody) == Role::kAvoid)) return {};
  std::array<int, 3> down{};  // semitones down from the melody to the others
  for (std::size_t i = 0, n = 0; i < members.size(); ++i) {
    if (i == replaced) continue;
    const int way = (melody - members[i] % 12 + 24) % 12;
    down[n++] = way == 0 ? 12 : way;
  }
  std::sort(down.begin(), down.end());
  Keys out;
  out.push_back(top);
  for (int way : down) out.insert(0, top - way);
  for (std::size_t i = 1; i < out.size(); ++i)
    if (out[i] == out[i - 1]) return {};
  return out;
}

Layout drop2(const Wanted& w) {
  Keys keys = close_position(w);
  if (keys.empty()) return {};
  const int dropped = keys[2] - 12;
  keys.erase(2);
  std::size_t at = 0;
  while (at < keys.size() && keys[at] < dropped) ++at;
  keys.insert(at, dropped);
  if (!holds_all(keys, w.melody)) return {};
  return judged(keys, split(keys, w.hands.reach()), w.hands);
}

Layout block(const Wanted& w) {
  Keys keys = close_position(w);
  if (keys.empty() || keys[0] <= w.melody.back() - 12) return {};
  keys.insert(0, w.melody.back() - 12);
  if (!holds_all(keys, w.melody)) return {};
  return judged(keys, 1, w.hands);
}

Layout quartal(const Wanted& w) {
  const Quality quality = w.chord.quality;
  const int third = third_of(quality), seventh = seventh_of(quality);
  if (!seventh && row(quality).family != Family::kSuspended) return {};  // a plain triad should stay plain
  Layout best;
  // Three steps down: perfect or augmented fourths, and at most one major third.
  constexpr std::array<int, 3> kSteps{5, 6, 4};
  constexpr int kImperfect = 6;  // price of a step other than a perfect fourth
  for (int choice = 0; choice < 27; ++choice) {
    const std::array<int, 3> steps{kSteps[static_cast<std::size_t>(choice % 3)],
                                   kSteps[static_cast<std::size_t>(choice / 3 % 3)],
                                   kSteps[static_cast<std::size_t>(choice / 9)]};
    if (std::count(steps.begin(), steps.end(), 4) > 1) continue;
    Keys stack;
    stack.push_back(w.melody.back());
    for (int step : steps) stack.insert(0, stack[0] - step);
    bool fits = holds_all(stack, w.melody), tells = !third && !seventh;
    for (int key : stack) {
      if (key < kLowestInner) fits = false;
      const int interval = ascending(w.chord.root, PitchClass(key));
      fits = fits && role(quality, interval) != Role::kAvoid;
      tells = tells || (interval == third && third) || (interval == seventh && seventh);
    }
    if (!fits || !tells) continue;
    for (int bass = kLowestBass + ascending(PitchClass(kLowestBass), w.chord.bass);
         bass <= kHighestBass && bass < stack[0]; bass += 12) {
      Keys keys = stack;
      keys.insert(0, bass);
      for (std::size_t split_at : {std::size_t{1}, std::size_t{2}}) {
        Layout made = judged(keys, split_at, w.hands);
        if (made.price == kUnplayable) continue;
        made.price += kImperfect * static_cast<int>(3 - std::count(steps.begin(), steps.end(), 5));
        if (made.price < best.price) best = made;
      }
    }
  }
  return best;
}

Layout styled(const Wanted& w, Style style) {
  switch (style) {
    case Style::kOpen: {
      const Found found = open_layout(w.chord, Room(w.melody, w.hands));
      return {found.keys, found.split_at, found.price};
    }
    case Style::kShell: return shell(w);
    case Style::kRootlessA: return rootless(w, true);
    case Style::kRootlessB: return rootless(w, false);
    case Style::kDrop2: return drop2(w);
    case Style::kSpread: return spread(w);
    case Style::kQuartal: return quartal(w);
    case Style::kBlock: return block(w);
  }
  return {};
}

}  // namespace

std::string_view name(Style style) {
  constexpr std::array<std::string_view, kStyles> kNames{"open",   "shell",  "rootless A", "rootless B",
                                                         "drop 2", "spread", "quartal",    "block"};
  return kNames[static_cast<std::size_t>(style)];
}

std::optional<Voicing> voice(const Chord& chord, std::span<const Pitch> melody, const Hands& hands,
                             Style style) {
  const Keys kept = kept_melody(melody);
  if (kept.empty()) return std::nullopt;
  const Layout made = styled({chord, kept, hands}, style);
  if (made.price == kUnplayable) return std::nullopt;
  return laid_out(made.keys, made.split_at, hands);
}

Voicings voicings(const Chord& chord, std::span<const Pitch> melody, const Hands& hands) {
  const Keys kept = kept_melody(melody);
  Voicings out;
  out.push_back({Style::kOpen, voice(chord, melody, hands)});
  if (kept.empty()) return out;
  struct Other {
    Style style;
    Layout layout;
  };
  FixedVector<Other, kStyles> others;
  for (int i = 1; i < kStyles; ++i) {
    const Other other{static_cast<Style>(i), styled({chord, kept, hands}, static_cast<Style>(i))};
    if (other.layout.price < kUnplayable) others.push_back(other);
  }
  std::stable_sort(others.begin(), others.end(),
                   [](const Other& a, const Other& b) { return a.layout.price < b.layout.price; });
  const auto same_keys = [](const Voicing& a, const Voicing& b) {
    const auto keys = [](const Voicing& v) {
      FixedVector<Pitch, 2 * kNotesInHand> all;
      for (Pitch key : v.left) all.push_back(key);
      for (Pitch key : v.right) all.push_back(key);
      return all;
    };
    return keys(a) == keys(b);
  };
  for (const Other& other : others) {
    const Voicing made = laid_out(other.layout.keys, other.layout.split_at, hands);
    if (std::none_of(out.begin(), out.end(),
                     [&](const StyledVoicing& v) { return same_keys(v.voicing, made); }))
      out.push_back({other.style, made});
  }
  return out;
}

}  // namespace undersong::harmony
