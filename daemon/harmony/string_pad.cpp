#include "daemon/harmony/string_pad.h"

#include <algorithm>
#include <cstdlib>
#include <limits>
#include <map>
#include <numeric>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

constexpr int kNeighbours = 12;  // largest interval between neighbouring upper voices, semitones
constexpr int kInnerStep = 4;    // largest step of an inner voice within a chord

// The tones that the section must include: at most three that characterise the chord, the most characteristic
// first. The bass player has the bass.
PitchClassSet must_have(const Chord& chord) {
  const QualityRow& made = row(chord.quality);
  PitchClassSet out;
  const auto want = [&](Degree degree) {
    const PitchClass tone = transpose(chord.root, semitones(degree));
    if (tone != chord.bass && out.size() < 3) out.insert(tone);
  };
  // The third or suspension, then the seventh or sixth, then an altered fifth and tensions.
  for (Degree degree : made.degrees)
    if (degree.number >= 2 && degree.number <= 4) want(degree);
  for (Degree degree : made.degrees)
    if (degree.number == 6 || degree.number == 7) want(degree);
  for (Degree degree : made.degrees)
    if (degree.number > 7 || (degree.number == 5 && degree.alter != 0)) want(degree);
  return out;
}

bool in_range(std::size_t voice, int key) {
  return key >= kStringRanges[voice].lowest.value() && key <= kStringRanges[voice].highest.value();
}

}  // namespace

std::vector<StringChord> string_layouts(const Chord& chord) {
  const PitchClassSet needed = must_have(chord);
  PitchClassSet tones = row(chord.quality).tones.transposed(chord.root.value());
  tones.insert(chord.bass);
  std::vector<StringChord> out;
  for (int cello = kStringRanges[0].lowest.value(); cello <= kStringRanges[0].highest.value(); ++cello) {
    if (!tones.contains(PitchClass(cello))) continue;
    for (int viola = std::max(cello + 1, kStringRanges[1].lowest.value()); in_range(1, viola); ++viola) {
      if (!tones.contains(PitchClass(viola)) || viola - cello > 2 * kNeighbours) continue;
      for (int second = std::max(viola, kStringRanges[2].lowest.value());
           in_range(2, second) && second - viola <= kNeighbours; ++second) {
        if (!tones.contains(PitchClass(second))) continue;
        for (int first = std::max(second, kStringRanges[3].lowest.value());
             in_range(3, first) && first - second <= kNeighbours; ++first) {
          if (!tones.contains(PitchClass(first)) || viola == second || second == first) continue;
          PitchClassSet has;
          for (int key : {cello, viola, second, first}) has.insert(PitchClass(key));
          if ((needed - has).empty())
            out.push_back({Pitch(cello), Pitch(viola), Pitch(second), Pitch(first)});
        }
      }
    }
  }
  return out;
}

int motion(const StringChord& before, const StringChord& after) {
  int sum = 0;
  for (std::size_t v = 0; v < kStrings; ++v) sum += std::abs(after[v].value() - before[v].value());
  return sum;
}

int parallels(const StringChord& before, const StringChord& after) {
  int count = 0;
  for (std::size_t low = 0; low < kStrings; ++low)
    for (std::size_t high = low + 1; high < kStrings; ++high) {
      const int up_low = after[low].value() - before[low].value(),
                up_high = after[high].value() - before[high].value();
      if (up_low == 0 || up_high == 0 || (up_low > 0) != (up_high > 0)) continue;
      const int was = (before[high].value() - before[low].value()) % 12,
                is = (after[high].value() - after[low].value()) % 12;
      count += was == is && (is == 0 || is == 7);
    }
  return count;
}

int standing_price(const StringChord& layout, const PadChord& chord, PadStyle style) {
  int price = 0, place = (kLowPlace + kHighPlace) / 2;
  if (chord.tune) {
    const int tune = chord.tune->value();
    for (const Pitch voice : layout)
      price += voice.value() >= tune ? kOverTune : voice.value() == tune - 1 ? kNextToTune : 0;
    place = std::clamp(tune - 5, kLowPlace, kHighPlace);
  }
  int thirds = 0;
  for (const Pitch voice : layout) {
    const int above_root = (voice.value() - chord.chord.root.value() + 120) % 12;
    thirds += above_root == 3 || above_root == 4;
  }
  if (thirds > 1) price += kDoublesThird;
  if (style != PadStyle::kChorale && layout[0].pitch_class() == chord.chord.bass) price += kDoublesBass;
  price += std::abs(layout[3].value() - place) / 3;
  return price + std::max(0, layout[1].value() - layout[0].value() - kCelloGap);
}

std::optional<int> step_price(const StringChord& before, const StringChord& after, bool second_half) {
  if (second_half) {
    int moved = 0;
    for (std::size_t v = 0; v < kStrings; ++v) {
      const int step = std::abs(after[v].value() - before[v].value());
      if (step == 0) continue;
      if (v == 0 || v + 1 == kStrings || step > kInnerStep || ++moved > 1) return std::nullopt;
    }
    if (moved == 0) return kStandsStill;
  }
  return motion(before, after) + kParallelPrice * parallels(before, after);
}

StringPad voice_strings(std::span<const PadChord> chords, PadStyle style) {
  StringPad pad;
  if (chords.empty()) return pad;
  std::map<std::array<int, 3>, std::vector<StringChord>> known;
  std::vector<const std::vector<StringChord>*> layouts;
  for (const PadChord& each : chords) {
    auto& made = known[{each.chord.root.value(), each.chord.quality.row(), each.chord.bass.value()}];
    if (made.empty()) made = string_layouts(each.chord);
    layouts.push_back(&made);
  }
  // best[c]: the lowest price of any sequence that ends with layout c of the current chord. from[i][c]: the
  // layout before it.
  std::vector<int> best(layouts[0]->size());
  for (std::size_t c = 0; c < best.size(); ++c) best[c] = standing_price((*layouts[0])[c], chords[0], style);
  std::vector<std::vector<std::uint32_t>> from(chords.size());
  std::vector<std::uint32_t> cheapest_first;
  for (std::size_t i = 1; i < chords.size(); ++i) {
    const auto& before = *layouts[i - 1];
    const auto& here = *layouts[i];
    cheapest_first.resize(before.size());
    std::iota(cheapest_first.begin(), cheapest_first.end(), 0u);
    std::sort(cheapest_first.begin(), cheapest_first.end(),
              [&](auto a, auto b) { return best[a] < best[b]; });
    std::vector<int> next(here.size(), std::numeric_limits<int>::max());
    from[i].resize(here.size());
    for (std::size_t c = 0; c < here.size(); ++c) {
      for (const std::uint32_t b : cheapest_first) {
        if (best[b] >= next[c]) break;  // a step costs nothing at least
        if (best[b] + motion(before[b], here[c]) >= next[c] && !chords[i].second_half) continue;
        const auto step = step_price(before[b], here[c], chords[i].second_half);
        if (step && best[b] + *step < next[c]) next[c] = best[b] + *step, from[i][c] = b;
      }
      if (next[c] != std::numeric_limits<int>::max()) next[c] += standing_price(here[c], chords[i], style);
    }
    best = std::move(next);
  }
  auto c = static_cast<std::size_t>(std::min_element(best.begin(), best.end()) - best.begin());
  pad.chords.resize(chords.size());
  for (std::size_t i = chords.size(); i-- > 0;) {
    pad.chords[i] = (*layouts[i])[c];
    if (i > 0) c = from[i][c];
  }
  for (std::size_t i = 1; i < chords.size(); ++i) {
    pad.motion += motion(pad.chords[i - 1], pad.chords[i]);
    pad.parallels += parallels(pad.chords[i - 1], pad.chords[i]);
  }
  return pad;
}

}  // namespace undersong::harmony
