#include "daemon/harmony/tonal_space.h"

#include <algorithm>
#include <array>
#include <cstdlib>

#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

constexpr PitchClassSet scale_in_region(PitchClass region) {
  return PitchClassSet(kMajorScale).transposed(region.value());
}

int fifths_apart(PitchClass a, PitchClass b) {
  const int steps = 7 * ascending(a, b) % 12;
  return std::min(steps, 12 - steps);
}

// F C G D A E B and round again, counted from the fourth degree of the region.
int diatonic_fifths_apart(PitchClass a, PitchClass b, PitchClass region) {
  const PitchClass first = transpose(region, 5);
  const int steps = std::abs(7 * ascending(first, a) % 12 - 7 * ascending(first, b) % 12);
  return std::min(steps, 7 - steps);
}

using BasicSpace = std::array<int, 12>;
BasicSpace basic_space(const Triad& chord, PitchClass region) {
  BasicSpace out{};
  const auto at = [&](PitchClass tone) -> int& { return out[static_cast<std::size_t>(tone.value())]; };
  for (int i = 0; i < 12; ++i)
    if (scale_in_region(region).contains(PitchClass(i))) ++at(PitchClass(i));
  ++at(chord.root);
  if (chord.third != chord.root) ++at(chord.third);
  if (chord.fifth != chord.root) ++at(chord.fifth), ++at(chord.fifth);
  at(chord.root) += 2;
  return out;
}

PitchClassSet tones_of(const Triad& chord) {
  PitchClassSet out;
  out.insert(chord.root);
  out.insert(chord.third);
  out.insert(chord.fifth);
  return out;
}

int nearest_distance(const Triad& chord, Key key) {
  const bool minor = key.mode == Mode::kMinor;
  const Triad tonic{key.tonic, transpose(key.tonic, minor ? 3 : 4), transpose(key.tonic, 7)};
  const PitchClass home = minor ? transpose(key.tonic, 3) : key.tonic;
  int best = 1000;
  // Augmented triads lie in no scale, so allow more and more tones outside the region.
  for (int missing = 0; best == 1000; ++missing)
    for (int region = 0; region < 12; ++region)
      if ((tones_of(chord) - scale_in_region(PitchClass(region))).size() <= missing)
        best = std::min(best, chord_distance(tonic, home, chord, PitchClass(region)) + missing);
  return best;
}

// The tone in the middle of a triad and the fifth, in semitones above the root; 0 means none.
constexpr std::array<int, 5> kMiddleTones{0, 2, 3, 4, 5};
constexpr std::array<int, 4> kFifths{0, 6, 7, 8};

struct SpaceTables {
  std::array<std::array<std::array<std::array<std::uint8_t, 9>, 6>, 12>, 2>
      distance{};  // [mode][root above tonic][third][fifth]
  struct Above {
    float fifths = 0;
    std::uint8_t third = 0, fifth = 0;  // of the triad at the bottom of the set, semitones
  };
  std::array<Above, 4096> above{};                         // indexed by the set above its root
  std::array<float, 4096> place{};                         // mean_place, indexed by the set above the tonic
  std::array<std::array<SetStability, 4096>, 2> stable{};  // [mode][set above the tonic]

  SpaceTables() {
    for (Mode mode : {Mode::kMajor, Mode::kMinor})
      for (int r = 0; r < 12; ++r)
        for (int third : kMiddleTones)
          for (int fifth : kFifths) {
            const PitchClass root(r);
            distance[static_cast<std::size_t>(mode)][static_cast<std::size_t>(r)]
                    [static_cast<std::size_t>(third)][static_cast<std::size_t>(fifth)] =
                        static_cast<std::uint8_t>(nearest_distance(
                            {root, transpose(root, third), transpose(root, fifth)}, {PitchClass(0), mode}));
          }
    for (unsigned bits = 1; bits < above.size(); ++bits) {
      const PitchClassSet set(bits);
      const Triad triad = triad_of(set, PitchClass(0));
      above[bits].third = static_cast<std::uint8_t>(triad.third.value());
      above[bits].fifth = static_cast<std::uint8_t>(triad.fifth.value());
      for (Mode mode : {Mode::kMajor, Mode::kMinor}) {
        SetStability& made = stable[static_cast<std::size_t>(mode)][bits];
        made.least = 10;
        for (int i = 0; i < 12; ++i) {
          if (!set.contains(PitchClass(i))) continue;
          const float value = stability(PitchClass(i), {PitchClass(0), mode});
          made.mean += value;
          made.least = std::min(made.least, value);
        }
        made.mean /= static_cast<float>(set.size());
      }
      // The top of a diminished seventh chord, by its letters.
      const bool diminished = (set & PitchClassSet(0b001011011001)) == PitchClassSet(0b001001001001);
      int sum = 0;
      for (int i = 0; i < 12; ++i)
        if (set.contains(PitchClass(i)))
          sum += i == 6                 ? (set.contains(PitchClass(7)) ? 6 : -6)
                 : i == 9 && diminished ? -9
                                        : (7 * i + 5) % 12 - 5;
      above[bits].fifths = static_cast<float>(sum) / static_cast<float>(set.size());
      int others = 0;
      for (int i = 0; i < 12; ++i)
        if (i != 6 && set.contains(PitchClass(i))) others += (7 * i + 5) % 12 - 5;
      const int tritone = set.contains(PitchClass(6)) ? (others > 0 ? 6 : -6) : 0;
      place[bits] = static_cast<float>(others + tritone) / static_cast<float>(set.size());
    }
  }
};
const SpaceTables& space_tables() {
  static const SpaceTables kTables;
  return kTables;
}

}  // namespace

Triad triad_of(PitchClassSet tones, PitchClass root) {
  const PitchClassSet above = tones.relative_to(root);
  const auto first = [&](std::initializer_list<int> wanted) {
    for (int interval : wanted)
      if (above.contains(PitchClass(interval))) return transpose(root, interval);
    return root;
  };
  return {root, first({4, 3, 5, 2}), first({7, 6, 8})};
}

int chord_distance(const Triad& from, PitchClass from_region, const Triad& to, PitchClass to_region) {
  const int i = fifths_apart(from_region, to_region);
  const bool together = from_region == to_region && scale_in_region(from_region).contains(from.root) &&
                        scale_in_region(from_region).contains(to.root);
  const int j =
      together ? diatonic_fifths_apart(from.root, to.root, from_region) : fifths_apart(from.root, to.root);
  const BasicSpace before = basic_space(from, from_region), after = basic_space(to, to_region);
  int k = 0;
  for (std::size_t t = 0; t < 12; ++t) k += std::max(0, after[t] - before[t]);
  return i + j + k;
}

int distance_from_tonic(PitchClassSet tones, PitchClass root, Key key) {
  const auto& chord = space_tables().above[tones.relative_to(root).bits()];
  return space_tables().distance[static_cast<std::size_t>(key.mode)][static_cast<std::size_t>(
      ascending(key.tonic, root))][chord.third][chord.fifth];
}

SetStability stability(PitchClassSet tones, Key key) {
  return space_tables().stable[static_cast<std::size_t>(key.mode)][tones.relative_to(key.tonic).bits()];
}

float stability(PitchClass tone, Key key) {
  const auto& profile = key.mode == Mode::kMajor ? kMajorProfile : kMinorProfile;
  return static_cast<float>(profile[static_cast<std::size_t>(ascending(key.tonic, tone))]);
}

float mean_fifths(PitchClassSet tones, PitchClass root) {
  return space_tables().above[tones.relative_to(root).bits()].fifths;
}

float mean_place(PitchClassSet tones, PitchClass tonic) {
  return space_tables().place[tones.relative_to(tonic).bits()];
}

PitchClass likely_root(PitchClassSet tones, PitchClass bass) {
  constexpr std::array<int, 12> kSupport{60, 0, 12, 6, 20, 0, 0, 30, 0, 0, 15, 0};
  PitchClass best = bass;
  int most = -1;
  for (int r = 0; r < 12; ++r) {
    if (!tones.contains(PitchClass(r))) continue;
    int support = PitchClass(r) == bass ? 12 : 0;
    for (int i = 0; i < 12; ++i)
      if (tones.contains(PitchClass(r + i))) support += kSupport[static_cast<std::size_t>(i)];
    if (support > most) most = support, best = PitchClass(r);
  }
  return best;
}

}  // namespace undersong::harmony
