#include "daemon/harmony/voicing_price.h"

#include <algorithm>
#include <array>
#include <cstdlib>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

struct Guides {
  int third = 0, seventh = 0, fifth = 0;
  // Semitones above the root, besides third and seventh: what the name needs, then what fills the chord.
  FixedVector<int, 8> wanted;
  std::size_t needed = 0;  // number of these that the name needs
};

Guides guides_of(const QualityRow& made) {
  Guides out;
  const auto first = [&](std::initializer_list<int> wanted) {
    for (int interval : wanted)
      if (made.tones.contains(PitchClass(interval))) return interval;
    return 0;
  };
  out.third = first({4, 3});
  if (out.third == 0)
    for (Degree degree : made.degrees)
      if (degree.number == 4 || degree.number == 2) out.third = pitch_class_offset(degree);
  out.seventh = 0;
  for (Degree degree : made.degrees) {
    if (degree.number == 7) out.seventh = pitch_class_offset(degree);
    if (degree.number == 6 && out.seventh == 0) out.seventh = pitch_class_offset(degree);
    if (degree.number == 5) out.fifth = pitch_class_offset(degree);
  }
  const auto add = [&](bool needed) {
    for (std::size_t i = made.degrees.size(); i-- > 1;) {
      const int interval = pitch_class_offset(made.degrees[i]);
      if (interval == out.third || interval == out.seventh) continue;
      if (made.essential.contains(PitchClass(interval)) == needed) out.wanted.push_back(interval);
    }
  };
  add(true);
  out.needed = out.wanted.size();
  add(false);
  return out;
}

const Guides& guides(Quality quality) {
  static const auto kTable = [] {
    std::array<Guides, 256> out;
    const auto rows = chord_vocabulary();
    for (std::size_t i = 0; i < rows.size(); ++i) out[i] = guides_of(rows[i]);
    return out;
  }();
  return kTable[static_cast<std::size_t>(quality.row())];
}

}  // namespace

int third_of(Quality quality) {
  return guides(quality).third;
}
int seventh_of(Quality quality) {
  return guides(quality).seventh;
}
int fifth_of(Quality quality) {
  return guides(quality).fifth;
}

std::size_t split(const Keys& keys, int reach) {
  std::size_t best = 0;
  int least = kUnplayable, widest = 0;
  for (std::size_t s = 1; s < keys.size(); ++s) {
    const int price = hands_price(keys, s, reach), gap = keys[s] - keys[s - 1];
    if (price < least || (price == least && price < kUnplayable && gap > widest))
      least = price, widest = gap, best = s;
  }
  return best;
}

int price(const Keys& keys, const Hands& hands) {
  return price(keys, split(keys, hands.reach()), hands);
}

int price(const Keys& keys, std::size_t split_at, const Hands& hands) {
  if (split_at == 0 || hands_price(keys, split_at, hands.reach()) >= kUnplayable) return kUnplayable;
  int out = 2 * hands.motion({keys.begin(), keys.size()}) + bass_price(keys[0]);
  for (int key : keys) out += height_price(key);
  for (std::size_t i = 1; i < keys.size(); ++i)
    out += neighbour_price(keys[i - 1], keys[i], i + 1 == keys.size());
  return out + hands_price(keys, split_at, hands.reach());
}

Keys kept_melody(std::span<const Pitch> melody) {
  int top = 0;
  for (Pitch note : melody) top = std::max(top, note.value());
  Keys out;
  for (Pitch note : melody) {
    if (top - note.value() > kHandSpan || out.size() == kNotesInHand) continue;
    std::size_t at = 0;
    while (at < out.size() && out[at] < note.value()) ++at;
    if (at < out.size() && out[at] == note.value()) continue;
    out.insert(at, note.value());
  }
  return out;
}

FixedVector<int, kMaxInner> inner_tones(const Chord& chord, PitchClassSet present) {
  const Guides& known = guides(chord.quality);
  FixedVector<int, kMaxInner> out;
  const auto take = [&](int interval) {
    const PitchClass tone = transpose(chord.root, interval);
    if (present.contains(tone)) return;
    present.insert(tone);
    out.push_back(tone.value());
  };
  if (known.third) take(known.third);
  if (known.seventh) take(known.seventh);
  for (std::size_t i = 0; i < known.needed; ++i) take(known.wanted[i]);
  // Add one or two of the tones that may be left out, so that the chord is neither bare nor crowded.
  for (std::size_t i = known.needed; i < known.wanted.size() && out.size() < 2; ++i) take(known.wanted[i]);
  if (chord.bass != chord.root && out.size() < kMaxInner) take(0);
  if (out.size() < 2) take(0);
  return out;
}

Voicing laid_out(const Keys& keys, std::size_t split_at, int motion) {
  Voicing out;
  for (std::size_t i = 0; i < keys.size(); ++i)
    (i < split_at ? out.left : out.right).push_back(Pitch(keys[i]));
  out.hands_move = static_cast<std::uint8_t>(std::min(motion, 255));
  return out;
}

}  // namespace undersong::harmony
