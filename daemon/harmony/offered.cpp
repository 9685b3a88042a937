#include "daemon/harmony/offered.h"

#include <algorithm>
#include <memory>
#include <string_view>
#include <vector>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

// Rows that only name bare or ambiguous sets are left to the recogniser. `liking` is how rewarding a
// present-day player finds the chord to hear next, apart from familiarity.
struct OfferedQuality {
  std::string_view harte;
  float liking;
};
constexpr OfferedQuality kOfferedQualities[] = {{"maj", -0.35f},
                                                {"min", -0.35f},
                                                {"sus2", -0.05f},
                                                {"sus4", -0.15f},
                                                {"maj6", -0.1f},
                                                {"min6", 0.1f},
                                                {"maj6(9)", 0.15f},
                                                {"min6(9)", 0.05f},
                                                {"7", 0},
                                                {"maj7", 0.1f},
                                                {"min7", 0.1f},
                                                {"minmaj7", -0.1f},
                                                {"hdim7", 0.05f},
                                                {"dim7", -0.1f},
                                                {"aug(b7)", -0.05f},
                                                {"aug(7)", -0.2f},
                                                {"7(*5,b5)", -0.25f},
                                                {"sus4(b7)", 0.15f},
                                                {"9", 0.25f},
                                                {"maj9", 0.3f},
                                                {"min9", 0.3f},
                                                {"minmaj7(9)", -0.1f},
                                                {"hdim7(11)", 0.05f},
                                                {"sus4(b7,9)", 0.3f},
                                                {"sus4(b7,b9)", 0.05f},
                                                {"min9(11)", 0.3f},
                                                {"maj7(#11)", 0.25f},
                                                {"maj9(#11)", 0.25f},
                                                {"9(#11)", 0.15f},
                                                {"9(13)", 0.25f},
                                                {"9(#11,13)", 0.1f},
                                                {"maj9(13)", 0.1f},
                                                {"min9(11,13)", 0.05f},
                                                {"sus4(b7,9,13)", 0.2f},
                                                {"maj(9)", 0.15f},
                                                {"min(9)", 0.15f},
                                                {"7(b9)", 0.2f},
                                                {"7(#9)", 0.2f},
                                                {"7(b13)", 0.05f},
                                                {"7(b9,13)", 0.2f},
                                                {"7(b9,b13)", 0.15f},
                                                {"aug(b7,9)", 0.1f},
                                                {"aug(b7,#9)", 0.2f},
                                                {"7(*5,b9,#9,#11,b13)", 0.2f},
                                                {"dim", -0.4f},
                                                {"aug", -0.3f}};
static_assert(std::size(kOfferedQualities) == kOfferedCount);

// A single held note, this many semitones above the root, must find a chord of this family in the list in
// which it is the same degree as in this one.
struct Promise {
  std::size_t interval;
  std::string_view harte;
};
constexpr Promise kPromises[] = {{0, "maj"},      {0, "min"},     {11, "maj7"},
                                 {10, "min7"},    {9, "maj6(9)"}, {8, "aug(b7)"},
                                 {7, "maj"},      {7, "min"},     {6, "7(*5,b9,#9,#11,b13)"},
                                 {5, "min9(11)"}, {4, "maj7"},    {3, "min7"},
                                 {2, "maj9"},     {1, "7(b9)"}};

// The plainest chord of each class.
constexpr std::array<std::string_view, kQualityClasses> kClassChord{
    "maj",     "maj6",  "maj7", "7",   "min",     "min6",    "min7",
    "minmaj7", "hdim7", "dim7", "aug", "aug(b7)", "sus4(b7)"};

// How tense a chord is under a held note, used to form the cells: half the harshness of its intervals,
// including those of the held note, and half the share of its tones outside the key. Source: interval classes
// 1..6 by Huron (1994), aggregate dyadic consonance.
float tension(PitchClassSet tones, PitchClass held, PitchClassSet scale) {
  constexpr std::array<float, 7> kConsonance{0, -1.428f, -0.582f, 0.594f, 0.386f, 1.240f, -0.453f};
  const float outside = static_cast<float>((tones - scale).size()) / static_cast<float>(tones.size());
  tones.insert(held);
  float harsh = 0;
  int pairs = 0;
  for (int a = 0; a < 12; ++a)
    for (int b = a + 1; b < 12; ++b)
      if (tones.contains(PitchClass(a)) && tones.contains(PitchClass(b))) {
        harsh += (1.24f - kConsonance[static_cast<std::size_t>(std::min(b - a, 12 - b + a))]) / 2.668f;
        ++pairs;
      }
  return 0.5f * harsh / static_cast<float>(pairs) + 0.5f * outside;
}

// Mean place of the tones on the line of fifths. The root is spelled between the flat second and the sharp
// fourth of the key's signature. This is separate from the colour that is shown and from how roots are
// spelled, so that variety does not change with either.
float brightness(const Chord& chord, Key key) {
  const NoteName root = spell_within(chord.root, signature(key) - 5);
  float sum = 0;
  for (Degree degree : row(chord.quality).degrees) sum += static_cast<float>(root.above(degree).fifths());
  return sum / static_cast<float>(row(chord.quality).degrees.size());
}

// Three by three cells: dark to bright, resolved to tense. The limits divide the chords that contain the held
// note evenly.
void make_cells(Offered& made, std::size_t k, Key key) {
  const PitchClassSet scale = PitchClassSet(kMajorScale).transposed(7 * signature(key));
  std::array<float, kTableChords> bright;
  std::array<std::array<float, kTableChords>, 12> tense;
  std::vector<float> all_bright, all_tense;
  for (std::size_t c = 0; c < kTableChords; ++c) {
    const PitchClass root(static_cast<int>(c / kQualityClasses));
    const Chord chord{root, quality(kClassChord[c % kQualityClasses]), root};
    const PitchClassSet tones = row(chord.quality).tones.transposed(root.value());
    bright[c] = brightness(chord, key);
    for (int held = 0; held < 12; ++held) {
      const float t = tense[static_cast<std::size_t>(held)][c] = tension(tones, PitchClass(held), scale);
      if (!tones.contains(PitchClass(held))) continue;
      all_bright.push_back(bright[c]);
      all_tense.push_back(t);
    }
  }
  std::sort(all_bright.begin(), all_bright.end());
  std::sort(all_tense.begin(), all_tense.end());
  const auto third = [](const std::vector<float>& sorted, float value) {
    return (value > sorted[sorted.size() / 3]) + (value > sorted[2 * sorted.size() / 3]);
  };
  for (std::size_t held = 0; held < 12; ++held)
    for (std::size_t c = 0; c < kTableChords; ++c)
      made.cell[k][held][c] =
          static_cast<std::uint8_t>(3 * third(all_bright, bright[c]) + third(all_tense, tense[held][c]));
}

void make_offered(Offered& made) {
  std::array<float, kQualityClasses> plainest;
  plainest.fill(10);
  for (std::size_t i = 0; i < kOfferedCount; ++i) {
    made.quality[i] = quality(kOfferedQualities[i].harte);
    made.cls[i] = static_cast<std::uint8_t>(quality_class(made.quality[i]));
    made.family[i] = static_cast<std::uint8_t>(row(made.quality[i]).family);
    const PitchClassSet tones = row(made.quality[i]).tones;
    made.of_family[made.family[i]][i] = 1;
    for (int interval = 0; interval < 12; ++interval) {
      if (tones.contains(PitchClass(interval)))
        made.tone[static_cast<std::size_t>(interval)][i] = 1.0f / static_cast<float>(tones.size());
      if (interval > 0 && tones.transposed(interval) == tones)
        made.same_keys[i] |= static_cast<std::uint16_t>(1u << interval);
    }
    plainest[made.cls[i]] = std::min(plainest[made.cls[i]], row(made.quality[i]).rarity);
    for (int interval = 0; interval < 12; ++interval) {
      // The third over a suspended fourth, a semitone below it, clashes wherever it lies.
      const bool third_over_fourth = interval == 4 && row(made.quality[i]).tones.contains(PitchClass(5)) &&
                                     row(made.quality[i]).family == Family::kSuspended;
      const Role how = third_over_fourth ? Role::kAvoid : role(made.quality[i], interval);
      made.fit[static_cast<std::size_t>(interval)][i] = how == Role::kChordTone ? kChordTone
                                                        : how == Role::kTension ? kTension
                                                                                : kAvoid;
      // A 13th over a suspended ninth chord fits as well as if its name told it.
      if (kOfferedQualities[i].harte == "sus4(b7,9)" && interval == 9) made.fit[9][i] = kChordTone;
    }
  }
  for (std::size_t interval = 0; interval < 12; ++interval)
    for (std::size_t i = 0; i < kOfferedCount; ++i)
      if (made.fit[interval][i] == kAvoid) made.avoids[interval] |= std::uint64_t{1} << i;
  for (std::size_t i = 0; i < kOfferedCount; ++i)
    made.rarer[i] = row(made.quality[i]).rarity - plainest[made.cls[i]];

  for (const Promise& promise : kPromises) {
    const Quality wanted = quality(promise.harte);
    const int interval = static_cast<int>(promise.interval);
    std::uint64_t set = 0;
    for (std::size_t i = 0; i < kOfferedCount; ++i)
      if (row(made.quality[i]).family == row(wanted).family &&
          role(made.quality[i], interval) != Role::kAvoid &&
          degree_in(made.quality[i], interval) == degree_in(wanted, interval))
        set |= std::uint64_t{1} << i;
    made.promised[promise.interval].push_back(set);
  }
  for (int interval = 0; interval < 12; ++interval) {
    auto& plain = made.plain[static_cast<std::size_t>(interval)];
    plain.fill(Offered::kNone);
    for (std::size_t i = 0; i < kOfferedCount; ++i) {
      const QualityRow& here = row(made.quality[i]);
      std::uint8_t& best = plain[made.cls[i]];
      // Of suspended chords the ninth is the everyday one. A ninth without seventh is the plain form of none:
      // the seventh chord with the ninth takes its place.
      const bool suspended = here.family == Family::kSuspended && here.harte != "sus4(b7,9)";
      if (suspended || here.harte == "maj(9)" || here.harte == "min(9)") continue;
      const bool sounds = here.family == Family::kSuspended ? role(made.quality[i], interval) != Role::kAvoid
                                                            : here.tones.contains(PitchClass(interval));
      if (sounds && (best == Offered::kNone || here.rarity < row(made.quality[best]).rarity))
        best = static_cast<std::uint8_t>(i);
    }
  }

  for (std::size_t k = 0; k < 25; ++k) {
    std::optional<Key> key;
    if (k < 24) key = Key{PitchClass(static_cast<int>(k)), k < 12 ? Mode::kMajor : Mode::kMinor};
    const PitchClassSet scale =
        key ? PitchClassSet(kMajorScale).transposed(7 * signature(*key)) : PitchClassSet(0xFFF);
    for (std::size_t r = 0; r < 12; ++r) {
      const PitchClass root(static_cast<int>(r));
      for (std::size_t i = 0; i < kOfferedCount; ++i) {
        const Chord chord{root, made.quality[i], root};
        InKey& home = made.in_key[k][r * kPadded + i];
        home.root_name = root_name_in(chord, key);
        home.colour = colour(chord, key);
        home.tones = row(chord.quality).tones.transposed(root.value());
        home.outside = static_cast<std::uint8_t>((home.tones - scale).size());
        home.liking = kOfferedQualities[i].liking - kOutsideWeight * static_cast<float>(home.outside);
        made.liking[k][r * kPadded + i] = home.liking;
        made.bright[k][r * kPadded + i] = home.colour.dark_bright;
        made.tense[k][r * kPadded + i] = home.colour.resolved_tense;
      }
    }
    make_cells(made, k, key ? *key : Key{});  // without a key, as in C: only differences between chords count
  }
}

}  // namespace

const Offered& offered() {
  static const std::unique_ptr<const Offered> kOffered = [] {
    auto made = std::make_unique<Offered>();
    make_offered(*made);
    return made;
  }();
  return *kOffered;
}

}  // namespace undersong::harmony
