#include "daemon/harmony/player_memory.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>

namespace undersong::harmony {
namespace {

using Counts = PlayerCounts::Row;
constexpr std::size_t kNoneBefore = kTableChords;

// The weight of the roots and of the qualities in each table; what is added to what was played and to what
// was expected, so that a single chord proves little; with how many usual chords the expectation after a
// chord starts; then the usual likelihoods as logarithms: of each chord, under each note, after each quality
// and none.
struct Weight {
  float root, quality;
};
struct Learnt {
  Weight chords, under, turned, after;
  float doubt, as_if;
  std::array<std::int16_t, kTableChords*(1 + 12 + kQualityClasses + 1)> usual;
};
constexpr Learnt kLearnt{
#include "daemon/harmony/player_table.inc"
};
constexpr float kScale = 100;  // of the logarithms
Counts usual_row(std::size_t number) {
  Counts out;
  for (std::size_t c = 0; c < kTableChords; ++c)
    out[c] = std::exp(static_cast<float>(kLearnt.usual[number * kTableChords + c]) / kScale);
  return out;
}

std::size_t class_of(std::size_t chord) {
  return chord == kNoneBefore ? kQualityClasses : chord % kQualityClasses;
}
std::size_t root_of(std::size_t chord) {
  return chord == kNoneBefore ? 0 : chord / kQualityClasses;
}
std::size_t moved(std::size_t chord, std::size_t semitones) {
  return (chord / kQualityClasses + semitones) % 12 * kQualityClasses + chord % kQualityClasses;
}

float sum(const Counts& row) {
  return std::accumulate(row.begin(), row.end(), 0.0f);
}

// Keeps the greatest habits, greatest first.
void keep(std::span<PlayerCounts::Habit> out, std::size_t& size, const PlayerCounts::Habit& habit) {
  if (!(habit.share > 0)) return;  // also if nothing was counted
  std::size_t at = size;
  while (at > 0 && out[at - 1].share < habit.share) --at;
  if (at == out.size()) return;
  size = std::min(size + 1, out.size());
  for (std::size_t i = size - 1; i > at; --i) out[i] = out[i - 1];
  out[at] = habit;
}

}  // namespace

std::uint8_t seen_from(PitchClass tonic, const Chord& chord) {
  const auto cls = quality_class(chord.quality);
  if (cls == QualityClass::kNone) return PlayedChord::kNoChord;
  return static_cast<std::uint8_t>(ascending(tonic, chord.root) * static_cast<int>(kQualityClasses) +
                                   static_cast<int>(cls));
}

float PlayerCounts::fade_of(std::size_t age_in_takes) {
  return std::exp2(-static_cast<float>(age_in_takes) / kHalfLife);
}

void PlayerCounts::add(const PlayedChord& played, float fade) {
  if (played.chord >= kNoneBefore || played.last > kNoneBefore) return;
  const float weight = fade * std::clamp(played.weight, 0.0f, PlayedChord::kMostWeight);
  chords_[played.chord] += weight;
  after_[played.last][played.chord] += weight;
  turned_[class_of(played.last)][moved(played.chord, 12 - root_of(played.last))] += weight;
  if (played.held < 12) under_[played.held][played.chord] += weight;
  total_ += weight;
}

std::size_t PlayerCounts::most_played(std::span<Habit> out) const {
  std::size_t size = 0;
  for (std::size_t c = 0; c < kTableChords; ++c)
    keep(out, size, {PlayedChord::kNoChord, static_cast<std::uint8_t>(c), chords_[c] / total_});
  return size;
}

std::size_t PlayerCounts::usual_steps(std::span<Habit> out) const {
  std::size_t size = 0;
  for (std::size_t last = 0; last < kTableChords; ++last)
    for (std::size_t c = 0; c < kTableChords; ++c)
      if (c != last)
        keep(out, size,
             {static_cast<std::uint8_t>(last), static_cast<std::uint8_t>(c), after_[last][c] / total_});
  return size;
}

PlayerMemory::Adds PlayerMemory::weighed(const Counts& counts, const Counts& usual, float root_weight,
                                         float quality_weight) {
  // Against what so many chords of the usual kind would be; 0 if nothing was counted.
  const auto likelier = [](float played, float expected) {
    return std::log((played + kLearnt.doubt) / (expected + kLearnt.doubt));
  };
  const float share = sum(counts) / sum(usual);
  Adds out;
  for (std::size_t root = 0; root < 12; ++root) {
    const std::size_t begin = root * kQualityClasses, end = begin + kQualityClasses;
    float played = 0, expected = 0;
    for (std::size_t c = begin; c < end; ++c) played += counts[c], expected += share * usual[c];
    const float of_root = likelier(played, expected);
    out.root[root] = root_weight * of_root;
    for (std::size_t c = begin; c < end; ++c)
      out.quality[c] = quality_weight * (likelier(counts[c], share * usual[c]) - of_root);
  }
  return out;
}

PlayerMemory::PlayerMemory(const PlayerCounts& counts) {
  const auto add = [](Adds& to, const Adds& more) {
    for (std::size_t i = 0; i < to.root.size(); ++i) to.root[i] += more.root[i];
    for (std::size_t c = 0; c < kTableChords; ++c) to.quality[c] += more.quality[c];
  };
  const Adds any = weighed(counts.chords(), usual_row(0), kLearnt.chords.root, kLearnt.chords.quality);
  for (std::size_t note = 0; note < 12; ++note) {
    under_[note] =
        weighed(counts.under()[note], usual_row(1 + note), kLearnt.under.root, kLearnt.under.quality);
    add(under_[note], any);
  }
  for (std::size_t cls = 0; cls <= kQualityClasses; ++cls) {
    const Counts& turned = counts.turned()[cls];
    Counts expected = usual_row(13 + cls);
    turned_[cls] = weighed(turned, expected, kLearnt.turned.root, kLearnt.turned.quality);
    // After each chord of this class: against what follows from the class, as this player plays it.
    for (std::size_t c = 0; c < kTableChords; ++c) expected[c] = turned[c] + kLearnt.as_if * expected[c];
    for (std::size_t last = 0; last <= kNoneBefore; ++last) {
      if (class_of(last) != cls) continue;
      Counts here;
      for (std::size_t c = 0; c < kTableChords; ++c) here[moved(c, root_of(last))] = expected[c];
      after_[last] = weighed(counts.after()[last], here, kLearnt.after.root, kLearnt.after.quality);
    }
  }
}

void PlayerMemory::add_scores(PitchClass tonic, const ChordsBefore& before, PitchClass held, float much,
                              ChordScores& scores) const {
  const std::size_t last = before.empty() ? kNoneBefore : seen_from(tonic, before[0]);
  const Adds& after = after_[last];
  const Adds& turned = turned_[class_of(last)];
  const Adds& under = under_[static_cast<std::size_t>(ascending(tonic, held))];
  const auto up = static_cast<std::size_t>(tonic.value());
  for (std::size_t root = 0; root < 12; ++root) {
    const std::size_t step = (root + 12 - root_of(last)) % 12;
    float* to = &scores[(root + up) % 12 * kQualityClasses];
    const float most = *std::max_element(to, to + kQualityClasses);
    // The qualities share out anew what the root had.
    std::array<float, kQualityClasses> taste;
    float had = 0, has = 0;
    for (std::size_t q = 0; q < kQualityClasses; ++q) {
      taste[q] =
          much * (under.quality[root * kQualityClasses + q] + after.quality[root * kQualityClasses + q] +
                  turned.quality[step * kQualityClasses + q]);
      const float share = std::exp(to[q] - most);
      had += share;
      has += share * std::exp(taste[q]);
    }
    const float of_root =
        much * (under.root[root] + after.root[root] + turned.root[step]) - std::log(has / had);
    for (std::size_t q = 0; q < kQualityClasses; ++q) to[q] += of_root + taste[q];
  }
}

}  // namespace undersong::harmony
