#include "daemon/harmony/take_memory.h"

#include <algorithm>
#include <cmath>

namespace undersong::harmony {
namespace {

// log(1 + count), from a table; counts above 63 count as 63.
float log_of_one_and(std::uint16_t count) {
  static const auto kTable = [] {
    std::array<float, 64> out{};
    for (std::size_t i = 0; i < out.size(); ++i) out[i] = std::log1p(static_cast<float>(i));
    return out;
  }();
  return kTable[std::min<std::size_t>(count, 63)];
}

}  // namespace

void TakeMemory::add(const Chord& chord, std::optional<PitchClass> held, PitchClassSet notes) {
  if (size_ == kMost) {  // forget half at once, so that adding stays cheap
    std::copy(entries_.begin() + kMost / 2, entries_.end(), entries_.begin());
    size_ = kMost / 2;
  }
  const auto cls = quality_class(chord.quality);
  entries_[size_++] = {
      static_cast<std::uint8_t>(cls == QualityClass::kNone
                                    ? kTableChords
                                    : static_cast<std::size_t>(chord.root.value()) * kQualityClasses +
                                          static_cast<std::size_t>(cls)),
      static_cast<std::uint8_t>(held ? held->value() : 255), static_cast<std::uint16_t>(notes.bits())};
}

void TakeMemory::add_scores(PitchClass held, PitchClassSet notes,
                            const std::array<float, RankingTable::kTakeWeights>& weights,
                            ChordScores& scores) const {
  if (size_ == 0) return;
  enum { kHeard, kAfter, kAfterTwo, kAfterThree, kHeld, kAfterHeld, kAfterNotes, kNotes, kCounts };
  std::array<std::array<std::uint16_t, kTableChords>, kCounts> count{};
  std::array<std::uint16_t, 12 * RankingTable::kFamilies> family{};
  std::array<std::uint16_t, kCounts> all{};
  const auto chord_at = [&](std::size_t i) { return entries_[i].chord; };
  // Compares entry i - back with the back-th newest chord.
  const auto same = [&](std::size_t i, std::size_t back) {
    return i >= back && size_ >= back && chord_at(i - back) == chord_at(size_ - back);
  };
  for (std::size_t i = 0; i < size_; ++i) {
    const Entry& entry = entries_[i];
    if (entry.chord >= kTableChords) continue;
    const auto found = [&](int kind) {
      ++count[static_cast<std::size_t>(kind)][entry.chord];
      ++all[static_cast<std::size_t>(kind)];
    };
    found(kHeard);
    ++family[entry.chord / kQualityClasses * RankingTable::kFamilies +
             RankingTable::family(entry.chord % kQualityClasses)];
    const bool after = same(i, 1), over = entry.held == held.value(),
               all_notes = entry.notes != 0 && entry.notes == notes.bits();
    if (after) {
      found(kAfter);
      if (same(i, 2)) {
        found(kAfterTwo);
        if (same(i, 3)) found(kAfterThree);
      }
      if (over) found(kAfterHeld);
      if (all_notes) found(kAfterNotes);
    }
    if (over) found(kHeld);
    if (all_notes) found(kNotes);
  }
  const auto share = [&](int kind, std::size_t c) {
    const auto k = static_cast<std::size_t>(kind);
    return all[k] ? static_cast<float>(count[k][c]) / (static_cast<float>(all[k]) + 0.5f) : 0.0f;
  };
  for (std::size_t c = 0; c < kTableChords; ++c) {
    const std::uint16_t kin =
        family[c / kQualityClasses * RankingTable::kFamilies + RankingTable::family(c % kQualityClasses)];
    if (kin == 0) continue;
    float sum = weights[2] * log_of_one_and(kin);
    if (count[kHeard][c]) {
      sum += weights[0] + weights[1] * log_of_one_and(count[kHeard][c]) +
             weights[3] * log_of_one_and(count[kAfter][c]) + weights[4] * share(kAfter, c) +
             weights[5] * share(kAfterTwo, c) + weights[6] * share(kAfterThree, c) +
             weights[7] * log_of_one_and(count[kHeld][c]) + weights[8] * share(kHeld, c) +
             weights[9] * share(kAfterHeld, c) + weights[10] * share(kAfterNotes, c) +
             weights[11] * share(kNotes, c);
    }
    scores[c] += sum;
  }
}

IdiomShares TakeMemory::idiom_evidence(std::optional<PitchClass> tonic,
                                       const RankingTable::Gate& gate) const {
  IdiomShares sum{};
  const auto tells = [&](const IdiomShares& values) {
    for (std::size_t i = 0; i < kIdioms; ++i) sum[i] += values[i];
  };
  const std::size_t down = tonic ? (12 - static_cast<std::size_t>(tonic->value())) % 12 * kQualityClasses : 0;
  for (std::size_t i = 0; i < size_; ++i) {
    const std::size_t chord = entries_[i].chord;
    if (chord >= kTableChords) continue;
    tells(gate.quality[chord % kQualityClasses]);
    if (tonic) tells(gate.chord[(chord + down) % kTableChords]);
    const std::size_t before = i > 0 ? entries_[i - 1].chord : kTableChords;
    if (before >= kTableChords) continue;
    const std::size_t step = (chord / kQualityClasses + 12 - before / kQualityClasses) % 12;
    tells(gate.step[before % kQualityClasses][step][chord % kQualityClasses]);
  }
  // Chords of one take repeat each other: n of them tell no more than the square root of 4 n independent
  // ones.
  const float scale = size_ > 4 ? 2 / std::sqrt(static_cast<float>(size_)) : 1.0f;
  for (float& value : sum) value *= scale;
  return sum;
}

}  // namespace undersong::harmony
