#include "daemon/harmony/colour.h"

#include <algorithm>
#include <cmath>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour_terms.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/tonal_space.h"

namespace undersong::harmony {
namespace {

#include "daemon/harmony/colour_weights.inc"

// The chord's own share of the mode term (the rest is its place in the key), and the share of the register
// term.
constexpr float kOwnMode = 0.5f, kRegisterShare = 0.15f;
constexpr float kModeRange = 1.25f;  // range of the learnt mode term, in steps of a seven-step scale

float own_mode(const ColourTerms& terms) {
  return kModeKeyFit * terms.key_fit + kModeTriads * terms.triads + kModeFifths * terms.fifths;
}

// `root_place`: place of the root on the line of fifths, seen from the tonic.
Colour weigh(const ColourTerms& terms, bool in_key, int root_place, bool moved) {
  const Ratings rated = ratings(terms, moved);
  Colour out;
  out.consonance = std::clamp((rated.consonance - 1) / 3, 0.0f, 1.0f);
  out.valence = std::clamp((rated.valence - 4) / 3, -1.0f, 1.0f);
  out.mode = std::clamp(own_mode(terms) / kModeRange, -1.0f, 1.0f);
  if (in_key) {
    // On average, the notes of the major scale lie about two fifths above its tonic, those of the minor scale
    // one below. Zero lies between.
    const float place = std::clamp((terms.fifths + static_cast<float>(root_place) - 0.5f) / 6, -1.0f, 1.0f);
    out.mode = kOwnMode * out.mode + (1 - kOwnMode) * place;
  }
  out.height = std::tanh(terms.height / 1.5f);
  out.dark_bright = (1 - kRegisterShare) * out.mode + kRegisterShare * out.height;
  out.resolved_tense =
      std::clamp(in_key ? (rated.tension_in_key - 1) / 8 : (rated.tension - 1) / 6, 0.0f, 1.0f);
  return out;
}

}  // namespace

Ratings ratings(const ColourTerms& t, bool moved) {
  Ratings out;
  out.consonance = kConsonance + kPeriodicity * t.periodicity + kMeanRoughness * t.mean_roughness +
                   kWorstRoughness * t.worst_roughness + kUnfamiliarity * t.unfamiliarity +
                   kOutside * t.outside + kFifth * t.fifth;
  out.tension = kTension + kTensionConsonance * out.consonance + kTensionHeight * t.height;
  out.valence = kValence + own_mode(t) + kValenceConsonance * out.consonance;
  out.tension_in_key = kInKey + kInKeyRootStability * t.root_stability +
                       kInKeyLeastStability * t.least_stability + kInKeyMeanStability * t.mean_stability +
                       kInKeyDistance * t.distance + kInKeyMotion * (moved ? t.motion : kMeanMotion) +
                       kInKeyPeriodicity * t.periodicity + kInKeyMode * own_mode(t);
  return out;
}

Colour colour(std::span<const Pitch> keys, const std::optional<Key>& key, std::optional<PitchClass> root,
              std::span<const Pitch> previous) {
  if (keys.empty()) return {};
  if (!root) {
    PitchClassSet tones;
    Pitch lowest = keys[0];
    for (Pitch note : keys) tones.insert(note.pitch_class()), lowest = std::min(lowest, note);
    root = likely_root(tones, lowest.pitch_class());
  }
  const ColourTerms terms = colour_terms(keys, root, key, previous);
  const int place = key ? (7 * ascending(key->tonic, *root) + 5) % 12 - 5 : 0;
  return weigh(terms, key.has_value(), place, !previous.empty());
}

Colour colour(Chord chord, NoteName root, const std::optional<Key>& key) {
  const QualityRow& made = row(chord.quality);
  // The bass, then every tone above it in close position, around middle C whatever the root is, so that all
  // roots can be compared.
  FixedVector<Pitch, 9> keys;
  constexpr int kBass = 52;
  keys.push_back(Pitch(kBass));
  for (int i = 1; i < 12; ++i)
    if (made.tones.contains(PitchClass(chord.bass.value() + i - chord.root.value())))
      keys.push_back(Pitch(kBass + i));
  // Ninths and higher tensions lie an octave up, as they are played.
  for (Degree degree : made.degrees)
    if (degree.number > 7)
      for (Pitch& note : keys)
        if (note != keys[0] &&
            (note.value() - kBass + chord.bass.value() - chord.root.value() - semitones(degree)) % 12 == 0)
          note = Pitch(note.value() + 12);
  // Move the key along with the chord.
  const int moved = kBass - chord.bass.value();
  std::optional<Key> moved_key = key;
  if (moved_key) moved_key->tonic = transpose(moved_key->tonic, moved);
  ColourTerms terms = colour_terms({keys.begin(), keys.size()}, transpose(chord.root, moved), moved_key, {});
  terms.height = 0;
  return weigh(terms, key.has_value(), key ? root.fifths() - tonic_name(*key).fifths() : 0, false);
}

}  // namespace undersong::harmony
