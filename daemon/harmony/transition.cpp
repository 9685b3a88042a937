#include "daemon/harmony/transition.h"

#include <array>
#include <cmath>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// By degree of the root above the tonic, in semitones.
constexpr std::array<float, 12> kMajorDegree{1.0f, -0.6f, 0.6f, -0.3f, 0.4f, 0.8f, -0.5f, 0.9f, -0.2f, 0.7f, 0.0f, -0.1f};
constexpr std::array<float, 12> kMinorDegree{1.0f, -0.4f, 0.2f, 0.5f, -0.6f, 0.8f, -0.6f, 0.9f, 0.6f, -0.4f, 0.6f, -0.1f};
// By motion of the root upwards, in semitones: a fourth up (a fifth down) leads.
constexpr std::array<float, 12> kMotion{-0.2f, 0.1f, 0.4f, 0.2f, 0.1f, 0.9f, -0.4f, 0.5f, 0.2f, 0.4f, 0.3f, 0.2f};

}  // namespace

RootMove root_move(const std::optional<Chord>& from, PitchClass to) {
  return from ? static_cast<RootMove>(1 + ascending(from->root, to)) : RootMove::kNone;
}

float familiarity_score(const std::optional<Chord>& previous, const std::optional<Key>& key, const Chord& next) {
  const QualityRow& made = row(next.quality);
  float score = 0;
  if (key) {
    const int degree = ascending(key->tonic, next.root);
    score += (key->mode == Mode::kMajor ? kMajorDegree : kMinorDegree)[static_cast<std::size_t>(degree)];
    constexpr unsigned kMajorScale = 0b101010110101;
    const PitchClassSet scale = PitchClassSet(kMajorScale).transposed(7 * signature(*key));
    const int outside = (made.tones.transposed(next.root.value()) - scale).size();
    // A dominant that leads to a degree of the key is at home although its third is not.
    const bool leads = made.family == Family::kDominant && scale.contains(transpose(next.root, 5));
    score -= (leads ? 0.25f : 0.5f) * static_cast<float>(outside);
  }
  if (previous) {
    const int motion = ascending(previous->root, next.root);
    score += kMotion[static_cast<std::size_t>(motion)];
    if (row(previous->quality).family == Family::kDominant) {
      if (motion == 5) score += 1.0f;                            // the dominant resolves
      if (motion == 11) score += 0.5f;                           // its tritone substitute
      if (motion == 2) score += 0.3f;                            // the deceptive cadence
      if (motion == 0 && made.family != Family::kDominant) score -= 0.3f;
    }
    if (row(previous->quality).family == Family::kMinor && motion == 5 && made.family == Family::kDominant) score += 0.5f;
    if (row(previous->quality).family == Family::kDiminished && motion == 1) score += 0.6f;
  }
  return score;
}

float familiarity(float score) { return 1 / (1 + std::exp(-1.1f * (score - 0.8f))); }

}  // namespace undersong::harmony
