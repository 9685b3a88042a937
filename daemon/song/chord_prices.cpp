#include "daemon/song/chord_prices.h"

#include <algorithm>

#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/voice_leading.h"

namespace undersong::song {
namespace {

using harmony::Family;

constexpr double kUsual = .5, kUsualClass = .2, kUsualFloor = -8;
constexpr double kFamiliarWish = 7, kFamiliarSpan = 12, kPlainness = 5;
constexpr double kPedalTension = .25, kPedalForeign = .8;  // for a bass note outside the chord
constexpr double kPedalTonic = .35, kPedalDominant = .2;

}  // namespace

std::uint16_t kind_of(const harmony::Chord& chord) {
  const Family family = harmony::row(chord.quality).family;
  const bool minor = family == Family::kMinor,
             diminished = family == Family::kDiminished || family == Family::kHalfDiminished;
  return static_cast<std::uint16_t>(chord.root.value() * static_cast<int>(kChordKinds) + (minor        ? 1
                                                                                          : diminished ? 2
                                                                                                       : 0));
}

std::size_t sound_of(const harmony::Chord& chord) {
  const harmony::QualityRow& row = harmony::row(chord.quality);
  if (row.family == Family::kMajor) return row.tones.contains(PitchClass(11)) ? 6 : 7;
  return std::min<std::size_t>(5, static_cast<std::size_t>(row.family));
}

harmony::PitchClassSet tones_of(const harmony::Chord& chord) {
  return harmony::row(chord.quality).tones.transposed(chord.root.value());
}

double voices_move(const harmony::Chord& from, const harmony::Chord& to) {
  FixedVector<PitchClass, 12> a, b;
  const auto from_tones = tones_of(from), to_tones = tones_of(to);
  for (int pc = 0; pc < 12; ++pc) {
    if (from_tones.contains(PitchClass(pc))) a.push_back(PitchClass(pc));
    if (to_tones.contains(PitchClass(pc))) b.push_back(PitchClass(pc));
  }
  return harmony::minimal_voice_leading({a.begin(), a.size()}, {b.begin(), b.size()}).semitones;
}

void usual_scores(const harmony::Phrase& phrase, const std::optional<harmony::Key>& key,
                  const harmony::ChordsBefore& before, harmony::ChordScores& out) {
  harmony::usual_chords(phrase, key, before, nullptr, harmony::RankingTable::standard(), out);
  const float most = *std::max_element(out.begin(), out.end());
  for (float& value : out) value -= most;
}

double usual_worth(const harmony::ChordScores& scores, const harmony::Chord& chord, double surprising) {
  const auto cls = harmony::quality_class(chord.quality);
  if (cls == harmony::QualityClass::kNone) return (kUsual + kUsualClass) * kUsualFloor;
  const std::size_t root = static_cast<std::size_t>(chord.root.value()) * harmony::kQualityClasses;
  // By root and triad; a suspension or an augmented fifth stands wherever its plain chord could.
  const auto best_of = [&](harmony::TriadKind triad) {
    double best = kUsualFloor;
    for (std::size_t q = 0; q < harmony::kQualityClasses; ++q)
      if (harmony::triad_kind(static_cast<harmony::QualityClass>(q)) == triad)
        best = std::max(best, static_cast<double>(scores[root + q]));
    return best;
  };
  const harmony::TriadKind triad = harmony::triad_kind(cls);
  double value = best_of(triad);
  if (triad == harmony::kSuspendedTriad) value = std::max(value, best_of(harmony::kMajorTriad) - .5);
  if (triad == harmony::kAugmentedTriad) value = std::max(value, best_of(harmony::kMajorTriad) - 1);
  const double rarer = static_cast<double>(harmony::row(chord.quality).rarity);
  const double familiar =
      std::clamp(1 + static_cast<double>(scores[root + static_cast<std::size_t>(cls)]) / kFamiliarSpan -
                     kPlainness / kFamiliarSpan * rarer,
                 0., 1.);
  return kUsual * value +
         kUsualClass *
             std::max(kUsualFloor, static_cast<double>(scores[root + static_cast<std::size_t>(cls)])) -
         kFamiliarWish * surprising * familiar;
}

double over_pedal(const harmony::Chord& chord, PitchClass bass, const std::optional<harmony::Key>& key) {
  double worth = 0;
  if (!tones_of(chord).contains(bass))
    worth -= harmony::role(chord.quality, ascending(chord.root, bass)) == harmony::Role::kAvoid
                 ? kPedalForeign
                 : kPedalTension;
  if (key) worth += bass == key->tonic ? kPedalTonic : bass == transpose(key->tonic, 7) ? kPedalDominant : 0;
  return worth;
}

}  // namespace undersong::song
