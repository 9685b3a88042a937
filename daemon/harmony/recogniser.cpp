#include "daemon/harmony/recogniser.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/ear_classes.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

// Prices. One unit is about the step from a certain name to a doubtful one.
constexpr float kExtraTone = 1.6f;  // a tone that sounds but is no degree of the chord
// A missing third, seventh, or tension that gives the chord its name.
constexpr float kMissingEssential = 1.5f;
constexpr float kMissingOther = 0.12f;  // a missing perfect fifth or lower tension
constexpr float kMissingFifthOfTriad = 0.7f;
constexpr float kMissingRoot = 0.42f;  // rootless left-hand forms; only for chords of four or more tones
// Added where all named tones must sound: the player left the root out of B D F, so it is Bdim before it is
// G7.
constexpr float kSilentRoot = 0.2f, kSilentRootOfThree = 0.5f;
// A sixth chord stands on its root; over another bass it is a seventh chord.
constexpr float kSixthInverted = 0.4f;
constexpr float kSuspendedInverted = 0.4f;
constexpr float kForeignBass = 0.9f;     // a slash chord over a note outside the chord
constexpr float kQuartal = -0.6f;        // notes stacked in fourths are heard that way
constexpr float kOutsideKey = 0.10f;     // for each tone of the name outside the key
constexpr float kSameRoot = -0.15f;      // the same root as the previous chord
constexpr float kFallingFifth = -0.15f;  // a falling fifth from the previous chord
constexpr float kHeard = 0.08f;          // for each unit of log-probability that the ear gives the name
constexpr float kHardlyHeard = -6.0f;    // lower log-probabilities count as this one

float inversion_price(int bass_interval, bool is_tone) {
  if (bass_interval == 0) return 0;
  if (!is_tone) return kForeignBass;
  switch (bass_interval) {
    case 3:
    case 4: return 0.45f;  // first inversion
    case 6:
    case 7:
    case 8: return 0.50f;  // second inversion
    case 10:
    case 11: return 0.55f;  // third inversion
    case 9: return 0.60f;
    default: return 0.80f;  // a suspension or tension in the bass
  }
}

// The price, over another bass than the root, of names that are not used for inversions.
float price_of_inverted(const QualityRow& made) {
  if (made.tones.size() == 3) return made.family == Family::kSuspended ? kSuspendedInverted : 0.0f;
  const bool sixth =
      made.tones.size() == 4 && made.tones.contains(PitchClass(9)) && !made.tones.contains(PitchClass(6));
  return sixth && made.family != Family::kDominant ? kSixthInverted : 0.0f;
}

// True for three or more notes, each a perfect fourth above the last.
bool stacked_in_fourths(std::span<const Pitch> notes) {
  if (notes.size() < 3) return false;
  for (std::size_t i = 1; i < notes.size(); ++i)
    if (notes[i].value() - notes[i - 1].value() != 5) return false;
  return true;
}

struct Priced {
  Chord chord;
  float price;
};

PitchClassSet scale_of(Key key) {
  // Natural minor plus the raised seventh, because the dominant of a minor key belongs to it.
  return PitchClassSet(key.mode == Mode::kMajor ? kMajorScale : kMinorScale).transposed(key.tonic.value());
}

}  // namespace

ChordReadings recognise(std::span<const Pitch> notes, const Context& context) {
  ChordReadings out;
  PitchClassSet sounding;
  for (Pitch note : notes) sounding.insert(note.pitch_class());
  if (sounding.size() < 2) return out;
  const PitchClass bass = notes.front().pitch_class();
  const bool quartal = stacked_in_fourths(notes);
  const PitchClassSet scale = context.key ? scale_of(*context.key) : PitchClassSet(0xFFF);

  std::array<Priced, kMaxReadings> best{};
  std::size_t found = 0;
  const auto rows = chord_vocabulary();
  for (int r = 0; r < 12; ++r) {
    const PitchClass root(r);
    const PitchClassSet seen = sounding.relative_to(root);
    const PitchClassSet home = scale.relative_to(root);
    const int bass_interval = ascending(root, bass);
    const PitchClassSet bass_tone(1u << bass_interval);
    const bool root_sounds = seen.contains(PitchClass(0));
    float context_price = 0;
    if (context.previous) {
      if (context.previous->root == root) context_price += kSameRoot;
      if (ascending(context.previous->root, root) == 5) context_price += kFallingFifth;
    }
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const QualityRow& made = rows[i];
      const bool bass_is_tone = !(made.tones & bass_tone).empty();
      const int tones = made.tones.size();
      // A rootless left-hand form has a chord tone in the bass and belongs to a chord of four or more tones.
      if (!root_sounds && (tones < 4 || !bass_is_tone)) continue;
      const PitchClassSet extra = seen - made.tones - bass_tone;
      const PitchClassSet missing = made.tones - seen;
      if (extra.size() > 2 || missing.size() > tones - 2) continue;
      const bool is_quartal_row = made.harte.front() == '(';
      if (is_quartal_row && (!quartal || bass_interval != 0)) continue;
      if (context.sounding_only && !(missing - kRootAndFifth).empty()) continue;
      const int essential = ((missing & made.essential) - PitchClassSet(1)).size();
      const int other = missing.size() - essential - !root_sounds;
      float price = made.rarity + context_price + inversion_price(bass_interval, bass_is_tone);
      price += kExtraTone * static_cast<float>(extra.size()) +
               kMissingEssential * static_cast<float>(essential) + kMissingOther * static_cast<float>(other);
      if (!root_sounds) price += kMissingRoot;
      if (!root_sounds && context.sounding_only)
        price += kSilentRoot + (sounding.size() <= 3 ? kSilentRootOfThree : 0);
      if (bass_interval != 0) price += price_of_inverted(made);
      if (tones == 3 && missing.contains(PitchClass(7))) price += kMissingFifthOfTriad - kMissingEssential;
      if (is_quartal_row) price += kQuartal;
      price += kOutsideKey * static_cast<float>((made.tones - home).size());
      if (!context.heard.empty())
        price -=
            kHeard * std::max(kHardlyHeard, context.heard[static_cast<std::size_t>(
                                                r * kEarClasses + ear_class(Quality(static_cast<int>(i))))]);
      if (found == kMaxReadings && price >= best[found - 1].price) continue;
      std::size_t at = found < kMaxReadings ? found++ : found - 1;
      while (at > 0 && best[at - 1].price > price) {
        best[at] = best[at - 1];
        --at;
      }
      best[at] = {{root, Quality(static_cast<int>(i)), bass}, price};
    }
  }
  float sum = 0.15f;  // leaves room for chords that the table does not know
  std::array<float, kMaxReadings> weight{};
  for (std::size_t i = 0; i < found; ++i)
    sum += weight[i] = std::exp(-2.5f * (best[i].price - best[0].price));
  const float sureness = std::exp(-0.6f * std::max(0.0f, best[0].price - 0.8f));
  for (std::size_t i = 0; i < found; ++i)
    out.push_back({best[i].chord, sureness * weight[i] / sum, best[i].price});
  return out;
}

Quality enrich(Quality frame, PitchClass root, PitchClassSet sounding) {
  const auto rows = chord_vocabulary();
  const QualityRow& base = row(frame);
  const PitchClassSet seen = sounding.relative_to(root);
  constexpr unsigned kExtensions = 0b001101101110;  // the extensions: b9 9 #9/b3 11 #11 b13 13
  Quality best = frame;
  int best_size = base.tones.size();
  float best_rarity = base.rarity;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const QualityRow& made = rows[i];
    if (made.family != base.family) continue;
    const PitchClassSet added = made.tones - base.tones;
    if (!(base.tones - made.tones).empty() || !(added - PitchClassSet(kExtensions)).empty()) continue;
    if (!(added - seen).empty()) continue;
    // A sixth turns a triad into another chord. Only 9ths and 11ths enrich a chord without a seventh.
    if (base.tones.size() == 3 && added.contains(PitchClass(9))) continue;
    const int size = made.tones.size();
    if (size > best_size || (size == best_size && made.rarity < best_rarity)) {
      best = Quality(static_cast<int>(i));
      best_size = size;
      best_rarity = made.rarity;
    }
  }
  return best;
}

}  // namespace undersong::harmony
