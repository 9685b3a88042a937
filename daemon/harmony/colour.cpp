#include "daemon/harmony/colour.h"

#include <algorithm>
#include <cmath>

#include "daemon/harmony/colour_terms.h"
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
float own_brightness(const ColourTerms& terms) {
  return kBrightKeyFit * terms.key_fit + kBrightTriads * terms.triads + kBrightFifths * terms.fifths;
}

Colour weigh(const ColourTerms& terms, bool in_key, bool moved) {
  const Ratings rated = ratings(terms, moved);
  Colour out;
  out.consonance = std::clamp((rated.consonance - 1) / 3, 0.0f, 1.0f);
  out.valence = std::clamp((rated.valence - 4) / 3, -1.0f, 1.0f);
  out.mode = std::clamp(own_brightness(terms) / kModeRange, -1.0f, 1.0f);
  if (in_key) {
    // On average, the notes of the major scale lie about two fifths above its tonic, those of the minor scale
    // one below. Zero lies between.
    const float place = std::clamp((terms.place - 0.5f) / 6, -1.0f, 1.0f);
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
  out.consonance = kConsonanceAlone + kConsonancePeriodicity * t.periodicity +
                   kConsonanceMeanRoughness * t.mean_roughness +
                   kConsonanceWorstRoughness * t.worst_roughness +
                   kConsonanceUnfamiliarity * t.unfamiliarity + kConsonanceOutside * t.outside +
                   kConsonanceFifth * t.fifth;
  out.tension = kTensionAlone + kTensionConsonance * out.consonance + kTensionHeight * t.height +
                kTensionFifths * t.fifths + kTensionTritones * t.tritones + kTensionSeventh * t.seventh;
  out.valence = kValenceAlone + own_mode(t) + kValenceConsonance * out.consonance;
  out.tension_in_key = kInKeyAlone + kInKeyRootStability * t.root_stability +
                       kInKeyLeastStability * t.least_stability + kInKeyMeanStability * t.mean_stability +
                       kInKeyDistance * t.distance + kInKeyMotion * (moved ? t.motion : kMeanMotion) +
                       kInKeyPeriodicity * t.periodicity + kInKeyMode * own_mode(t) +
                       kInKeySeventh * t.seventh;
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
  return weigh(colour_terms(keys, root, key, previous), key.has_value(), !previous.empty());
}

Colour colour(const Chord& chord, const std::optional<Key>& key) {
  return weigh(colour_terms(chord, key), key.has_value(), false);
}

}  // namespace undersong::harmony
