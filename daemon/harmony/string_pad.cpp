#include "daemon/harmony/string_pad.h"

#include <algorithm>
#include <cstdlib>
#include <limits>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

constexpr int kNeighbours = 12;  // largest interval between neighbouring upper voices, semitones

// The tones that the upper three voices must include: at most three that characterise the chord, the most
// characteristic first.
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

bool within(std::size_t voice, int key) {
  return key >= kStringRanges[voice].lowest.value() && key <= kStringRanges[voice].highest.value();
}

int price(const StringChord& before, const StringChord& after) {
  return motion(before, after) + kParallel * parallels(before, after);
}

}  // namespace

std::vector<StringChord> string_layouts(const Chord& chord) {
  const PitchClassSet needed = must_have(chord);
  PitchClassSet tones = row(chord.quality).tones.transposed(chord.root.value());
  tones.insert(chord.bass);
  std::vector<StringChord> out;
  for (int cello = kStringRanges[0].lowest.value(); cello <= kStringRanges[0].highest.value(); ++cello) {
    if (PitchClass(cello) != chord.bass) continue;
    for (int viola = std::max(cello + 1, kStringRanges[1].lowest.value()); within(1, viola); ++viola) {
      if (!tones.contains(PitchClass(viola)) || viola - cello > 2 * kNeighbours) continue;
      for (int second = std::max(viola, kStringRanges[2].lowest.value());
           within(2, second) && second - viola <= kNeighbours; ++second) {
        if (!tones.contains(PitchClass(second))) continue;
        for (int first = std::max(second, kStringRanges[3].lowest.value());
             within(3, first) && first - second <= kNeighbours; ++first) {
          if (!tones.contains(PitchClass(first)) || viola == second || second == first) continue;
          PitchClassSet has;
          for (int key : {viola, second, first}) has.insert(PitchClass(key));
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

StringPad voice_strings(std::span<const Chord> chords) {
  StringPad pad;
  if (chords.empty()) return pad;
  std::vector<std::vector<StringChord>> layouts;
  for (const Chord& chord : chords) layouts.push_back(string_layouts(chord));
  // best[c]: the lowest price of any sequence that ends with layout c of the current chord. from[i][c]: the
  // layout before it.
  std::vector<int> best(layouts[0].size());
  // Start in the middle of the section's range: the first layout costs a quarter of its distance from there.
  for (std::size_t c = 0; c < best.size(); ++c) {
    const StringChord middle{Pitch(43), Pitch(58), Pitch(64), Pitch(69)};
    best[c] = motion(middle, layouts[0][c]) / 4;
  }
  std::vector<std::vector<std::size_t>> from(chords.size());
  for (std::size_t i = 1; i < chords.size(); ++i) {
    std::vector<int> next(layouts[i].size(), std::numeric_limits<int>::max());
    from[i].resize(layouts[i].size());
    for (std::size_t c = 0; c < layouts[i].size(); ++c)
      for (std::size_t b = 0; b < layouts[i - 1].size(); ++b) {
        if (best[b] >= next[c]) continue;
        const int all = best[b] + price(layouts[i - 1][b], layouts[i][c]);
        if (all < next[c]) next[c] = all, from[i][c] = b;
      }
    best = std::move(next);
  }
  auto c = static_cast<std::size_t>(std::min_element(best.begin(), best.end()) - best.begin());
  pad.chords.resize(chords.size());
  for (std::size_t i = chords.size(); i-- > 0;) {
    pad.chords[i] = layouts[i][c];
    if (i > 0) c = from[i][c];
  }
  for (std::size_t i = 1; i < chords.size(); ++i) {
    pad.motion += motion(pad.chords[i - 1], pad.chords[i]);
    pad.parallels += parallels(pad.chords[i - 1], pad.chords[i]);
  }
  return pad;
}

}  // namespace undersong::harmony
