#include "daemon/harmony/offered.h"

#include <algorithm>
#include <memory>
#include <string_view>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// Rows that are only names for bare or ambiguous sets stay with the recogniser. The liking is what a player of our day
// finds rewarding to hear next, away from the familiar end.
struct Row {
  std::string_view harte;
  float liking;
};
constexpr Row kRows[] = {
    {"maj", -0.35f}, {"min", -0.35f}, {"sus2", -0.05f}, {"sus4", -0.15f}, {"maj6", -0.1f}, {"min6", 0}, {"maj6(9)", 0.15f},
    {"min6(9)", 0.05f}, {"7", 0}, {"maj7", 0.1f}, {"min7", 0.1f}, {"minmaj7", -0.1f}, {"hdim7", 0.05f}, {"dim7", -0.1f},
    {"aug(b7)", -0.05f}, {"aug(7)", -0.2f}, {"7(*5,b5)", -0.25f}, {"sus4(b7)", 0.15f}, {"9", 0.25f}, {"maj9", 0.3f},
    {"min9", 0.3f}, {"minmaj7(9)", -0.1f}, {"hdim7(11)", 0.05f}, {"sus4(b7,9)", 0.3f}, {"sus4(b7,b9)", 0.05f},
    {"min9(11)", 0.3f}, {"maj7(#11)", 0.25f}, {"maj9(#11)", 0.25f}, {"9(#11)", 0.15f}, {"9(13)", 0.25f}, {"9(#11,13)", 0.1f},
    {"maj9(13)", 0.1f}, {"min9(11,13)", 0.05f}, {"sus4(b7,9,13)", 0.2f}, {"maj(9)", 0.15f}, {"min(9)", 0.15f},
    {"7(b9)", 0.2f}, {"7(#9)", 0.2f}, {"7(b13)", 0.05f}, {"7(b9,13)", 0.2f}, {"7(b9,b13)", 0.15f}, {"aug(b7,9)", 0.1f},
    {"aug(b7,#9)", 0.2f}, {"7(*5,b9,#9,#11,b13)", 0.2f}, {"dim", -0.4f}, {"aug", -0.3f}};
static_assert(std::size(kRows) == kOfferedCount);

// A single held note, this many semitones above the root, must find this chord in the list.
struct Promise {
  std::size_t interval;
  std::string_view harte;
};
constexpr Promise kPromises[] = {
    {0, "maj"}, {0, "min"}, {11, "maj7"}, {10, "min7"}, {9, "maj6(9)"}, {8, "aug(b7)"}, {7, "maj"}, {7, "min"},
    {6, "7(*5,b9,#9,#11,b13)"}, {5, "min9(11)"}, {4, "maj7"}, {3, "min7"}, {2, "maj9"}, {1, "7(b9)"}};

// A class by its plainest chord.
constexpr std::array<std::string_view, kQualityClasses> kClassChord{"maj", "maj6", "maj7", "7", "min", "min6", "min7", "minmaj7",
                                                                    "hdim7", "dim7", "aug", "aug(b7)", "sus4(b7)"};

// Which third of the values each lies in, 0..2.
std::array<int, kTableChords> thirds(const std::array<float, kTableChords>& values) {
  auto sorted = values;
  std::sort(sorted.begin(), sorted.end());
  std::array<int, kTableChords> out{};
  for (std::size_t i = 0; i < values.size(); ++i)
    out[i] = (values[i] > sorted[kTableChords / 3]) + (values[i] > sorted[2 * kTableChords / 3]);
  return out;
}

void fill(Offered& made) {
  std::array<float, kQualityClasses> plainest;
  plainest.fill(10);
  for (std::size_t i = 0; i < kOfferedCount; ++i) {
    made.quality[i] = quality(kRows[i].harte);
    made.cls[i] = static_cast<std::uint8_t>(quality_class(made.quality[i]));
    made.liking[i] = kRows[i].liking;
    made.per_tone[i] = 1.0f / static_cast<float>(row(made.quality[i]).tones.size());
    plainest[made.cls[i]] = std::min(plainest[made.cls[i]], row(made.quality[i]).rarity);
    for (int interval = 0; interval < 12; ++interval) {
      const Role how = role(made.quality[i], interval);
      made.fit[static_cast<std::size_t>(interval)][i] = how == Role::kChordTone ? kChordTone : how == Role::kTension ? kTension : kAvoid;
    }
    for (const Promise& promise : kPromises)
      if (kRows[i].harte == promise.harte) made.promised[promise.interval][i] = true;
  }
  for (std::size_t i = 0; i < kOfferedCount; ++i) made.rarer[i] = row(made.quality[i]).rarity - plainest[made.cls[i]];

  constexpr unsigned kMajorScale = 0b101010110101;
  for (std::size_t k = 0; k < 25; ++k) {
    std::optional<Key> key;
    if (k < 24) key = Key{PitchClass(static_cast<int>(k)), k < 12 ? Mode::kMajor : Mode::kMinor};
    const PitchClassSet scale = key ? PitchClassSet(kMajorScale).transposed(7 * signature(*key)) : PitchClassSet(0xFFF);
    std::array<float, kTableChords> bright, tense;
    for (std::size_t r = 0; r < 12; ++r) {
      const PitchClass root(static_cast<int>(r));
      for (std::size_t i = 0; i < kOfferedCount; ++i) {
        const Chord chord{root, made.quality[i], root};
        InKey& home = made.in_key[k][r * kOfferedCount + i];
        home.root_name = root_name_in(chord, key);
        home.colour = colour(chord, home.root_name, key);
        home.tones = row(chord.quality).tones.transposed(root.value());
        home.outside = static_cast<std::uint8_t>((home.tones - scale).size());
      }
      // Without a key the cells are those of C: only their differences count.
      for (std::size_t q = 0; q < kQualityClasses; ++q) {
        const Chord chord{root, quality(kClassChord[q]), root};
        const auto in = key ? *key : Key{};
        const Colour seen = colour(chord, root_name_in(chord, in), in);
        bright[r * kQualityClasses + q] = seen.dark_bright;
        tense[r * kQualityClasses + q] = seen.resolved_tense;
      }
    }
    const auto columns = thirds(bright), rows = thirds(tense);
    for (std::size_t c = 0; c < kTableChords; ++c) made.cell[k][c] = static_cast<std::uint8_t>(3 * columns[c] + rows[c]);
  }
}

}  // namespace

const Offered& offered() {
  static const std::unique_ptr<const Offered> kOffered = [] {
    auto made = std::make_unique<Offered>();
    fill(*made);
    return made;
  }();
  return *kOffered;
}

}  // namespace undersong::harmony
