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

float home_score(const std::optional<Key>& key, const Chord& chord) {
  if (!key) return 0;
  const QualityRow& made = row(chord.quality);
  const int degree = ascending(key->tonic, chord.root);
  constexpr unsigned kMajorScale = 0b101010110101;
  const PitchClassSet scale = PitchClassSet(kMajorScale).transposed(7 * signature(*key));
  const int outside = (made.tones.transposed(chord.root.value()) - scale).size();
  // A dominant that leads to a degree of the key is at home although its third is not.
  const bool leads = made.family == Family::kDominant && scale.contains(transpose(chord.root, 5));
  return (key->mode == Mode::kMajor ? kMajorDegree : kMinorDegree)[static_cast<std::size_t>(degree)] -
         (leads ? 0.25f : 0.5f) * static_cast<float>(outside);
}

float motion_score(const std::optional<Chord>& previous, PitchClass next_root, Family next_family) {
  if (!previous) return 0;
  const int motion = ascending(previous->root, next_root);
  float score = kMotion[static_cast<std::size_t>(motion)];
  const Family from = row(previous->quality).family;
  if (from == Family::kDominant) {
    if (motion == 5) score += 1.0f;   // the dominant resolves
    if (motion == 11) score += 0.5f;  // its tritone substitute does
    if (motion == 2) score += 0.3f;   // the deceptive cadence
    if (motion == 0 && next_family != Family::kDominant) score -= 0.3f;
  }
  if (from == Family::kMinor && motion == 5 && next_family == Family::kDominant) score += 0.5f;
  if (from == Family::kDiminished && motion == 1) score += 0.6f;
  return score;
}

float familiarity(float score) { return 1 / (1 + std::exp(-1.1f * (score - 0.8f))); }

}  // namespace undersong::harmony
