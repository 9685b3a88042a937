#include "daemon/harmony/relation.h"

#include <array>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

bool is_dominant(Quality quality) {
  return row(quality).family == Family::kDominant;
}
// True for qualities that a ii can have: minor, with or without a seventh, or half diminished.
bool is_minor_kind(Quality quality) {
  return row(quality).family == Family::kMinor || row(quality).family == Family::kHalfDiminished;
}

}  // namespace

Relation relation(const ChordsBefore& before, const Chord& next, const std::optional<Key>& key) {
  if (before.empty()) return Relation::kNone;
  const Chord& last = before[0];
  const int move = ascending(last.root, next.root);
  if (move != 0 && next.bass == last.bass) return Relation::kPedalPoint;
  const Third from = third_in(row(last.quality).tones), to = third_in(row(next.quality).tones);
  if (move == 0)
    return from != to && from != Third::kNone && to != Third::kNone ? Relation::kParallel
                                                                    : Relation::kSameRoot;

  if (key && key->mode == Mode::kMajor) {
    const int degree = ascending(key->tonic, next.root);
    if (move == 2 && degree == 0 && is_dominant(last.quality) && to == Third::kMajor)
      return Relation::kBackdoor;
    if (move == 5 && degree == 10 && is_dominant(next.quality) && is_minor_kind(last.quality))
      return Relation::kBackdoor;
  }
  if (is_dominant(next.quality)) {
    if (move == 6 && is_dominant(last.quality)) return Relation::kTritoneSubstitute;
    if (move == 11 && is_minor_kind(last.quality)) return Relation::kTritoneSubstitute;
  }
  if (is_dominant(last.quality)) {
    if (move == 11) return Relation::kSubstituteResolves;
    // In a known key, V is the chord on its fifth degree. Without a key, any dominant can resolve
    // deceptively.
    const bool five = !key || ascending(key->tonic, last.root) == 7;
    if (five && ((move == 2 && to == Third::kMinor) ||
                 (move == 1 && to == Third::kMajor && !is_dominant(next.quality))))
      return Relation::kDeceptive;
  }
  if (move == 5) return Relation::kFallingFifth;
  if ((move == 9 && from == Third::kMajor && to == Third::kMinor) ||
      (move == 3 && from == Third::kMinor && to == Third::kMajor))
    return Relation::kRelative;
  switch (move) {
    case 1:
    case 11: return Relation::kChromaticApproach;
    case 3:
    case 4:
    case 8:
    case 9: return Relation::kMediant;
    case 7: return Relation::kRisingFifth;
    case 6: return Relation::kTritone;
    default: return Relation::kStep;
  }
}

std::string_view text(Relation relation) {
  static constexpr std::array<std::string_view, 15> kText{"",
                                                          "pedal point",
                                                          "parallel",
                                                          "backdoor",
                                                          "tritone substitute",
                                                          "substitute resolves",
                                                          "deceptive",
                                                          "falling fifth",
                                                          "relative",
                                                          "chromatic approach",
                                                          "mediant",
                                                          "rising fifth",
                                                          "step",
                                                          "tritone",
                                                          "same root"};
  return kText[static_cast<std::size_t>(relation)];
}

}  // namespace undersong::harmony
