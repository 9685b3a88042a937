#include "daemon/harmony/substitution.h"

#include <array>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

bool diminished_for(const Chord& dominant, const Chord& other) {
  if (row(dominant.quality).family != Family::kDominant || row(other.quality).family != Family::kDiminished)
    return false;
  const PitchClassSet tones = row(other.quality).tones.transposed(other.root.value());
  return tones.contains(transpose(dominant.root, 4)) && tones.contains(transpose(dominant.root, 10));
}

}  // namespace

Substitution substitution(const Chord& usual, const Chord& instead, const std::optional<Key>& key) {
  const Family from = row(usual.quality).family, to = row(instead.quality).family;
  const Third third = third_in(row(usual.quality).tones), new_third = third_in(row(instead.quality).tones);
  const int move = ascending(usual.root, instead.root);
  if (move == 0) {
    if (from == to) return Substitution::kSame;
    if (from == Family::kSuspended || to == Family::kSuspended) return Substitution::kSuspension;
    const bool plain = from != Family::kDominant && to != Family::kDominant;
    if (plain && third != Third::kNone && new_third != Third::kNone && third != new_third)
      return Substitution::kParallel;
    return Substitution::kSameRoot;
  }
  if (move == 6 && from == Family::kDominant && to == Family::kDominant) return Substitution::kTritone;
  const auto two = [](Family family) {
    return family == Family::kMinor || family == Family::kHalfDiminished;
  };
  const auto five = [](Family family) { return family == Family::kDominant; };
  if (move == 7 && five(from) && two(to)) return Substitution::kRelatedTwo;
  if (move == 5 && two(from) && five(to)) return Substitution::kItsDominant;
  if (diminished_for(usual, instead) || diminished_for(instead, usual)) return Substitution::kDiminished;
  const bool major_to_minor = from == Family::kMajor && to == Family::kMinor,
             minor_to_major = from == Family::kMinor && to == Family::kMajor;
  if ((major_to_minor && move == 9) || (minor_to_major && move == 3)) return Substitution::kRelative;
  if ((major_to_minor && move == 4) || (minor_to_major && move == 8)) return Substitution::kLeadingTone;
  if (key) {
    const PitchClassSet tones = row(instead.quality).tones.transposed(instead.root.value());
    const Key other{key->tonic, key->mode == Mode::kMajor ? Mode::kMinor : Mode::kMajor};
    const auto scale = [](Key k) {
      return PitchClassSet(kMajorScale).transposed(PitchClass(7 * signature(k)).value());
    };
    if (!(tones - scale(*key)).empty() && (tones - scale(other)).empty()) return Substitution::kBorrowed;
    // A chord within the key is not a chromatic mediant.
    if ((tones - scale(*key)).empty()) return Substitution::kOther;
  }
  if (move == 3 || move == 4 || move == 8 || move == 9) return Substitution::kMediant;
  return Substitution::kOther;
}

std::string_view text(Substitution substitution) {
  static constexpr std::array<std::string_view, 13> kText{
      "the same",          "parallel",           "suspension",
      "same root",         "tritone substitute", "related ii",
      "diminished",        "relative",           "leading-tone exchange",
      "chromatic mediant", "borrowed",           "another chord",
      "the V of that ii"};
  return kText[static_cast<std::size_t>(substitution)];
}

}  // namespace undersong::harmony
