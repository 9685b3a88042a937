#include "daemon/harmony/transition.h"

#include <algorithm>

#include "daemon/harmony/lanes.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

constexpr std::size_t kNoChord = RankingTable::kNoChord;

std::size_t place(const Chord& chord) {  // index of a chord by its absolute root
  const auto cls = quality_class(chord.quality);
  if (cls == QualityClass::kNone) return kNoChord;
  return static_cast<std::size_t>(chord.root.value()) * kQualityClasses + static_cast<std::size_t>(cls);
}
std::size_t moved(std::size_t chord, int semitones) {  // transposes by 0..11 semitones upwards
  if (chord == kNoChord) return kNoChord;
  const std::size_t at = chord + static_cast<std::size_t>(semitones) * kQualityClasses;
  return at < kTableChords ? at : at - kTableChords;
}
std::size_t family_of(std::size_t chord) {
  return chord == kNoChord ? RankingTable::kFamilies : RankingTable::family(chord % kQualityClasses);
}
std::size_t coarse(std::size_t chord) {
  return chord == kNoChord ? 12 * RankingTable::kFamilies
                           : chord / kQualityClasses * RankingTable::kFamilies + family_of(chord);
}
int root_of(std::size_t chord) {
  return chord == kNoChord ? 0 : static_cast<int>(chord / kQualityClasses);
}

// out += weight * row, with the row's chords transposed up by `semitones`.
void add(ChordScores& out, const RankingTable::Row& row, float weight = 1, int semitones = 0) {
  const std::size_t split = static_cast<std::size_t>(semitones) * kQualityClasses;
  for (std::size_t i = 0; i < kTableChords - split; ++i) out[i + split] += weight * row[i];
  for (std::size_t i = kTableChords - split; i < kTableChords; ++i)
    out[i + split - kTableChords] += weight * row[i];
}

void add(ChordScores& out, const std::vector<RankingTable::Listed>& list, std::size_t context,
         int semitones) {
  auto it = std::lower_bound(list.begin(), list.end(), context,
                             [](const auto& entry, std::size_t c) { return entry.context < c; });
  for (; it != list.end() && it->context == context; ++it) out[moved(it->chord, semitones)] += it->value;
}

// The scores in one key; everything is seen from the tonic, 0..11.
void in_key(const Phrase& phrase, float total, int tonic,
            const std::array<std::size_t, kChordsBefore>& before, const RankingTable& table,
            ChordScores& out) {
  const auto above = [&](PitchClass note) {
    return static_cast<std::size_t>(ascending(PitchClass(tonic), note));
  };
  std::array<std::size_t, kChordsBefore> heard;
  for (std::size_t i = 0; i < heard.size(); ++i) heard[i] = moved(before[i], (12 - tonic) % 12);
  const std::size_t last = heard[0], second = heard[1], third = heard[2], fourth = heard[3];

  fetch(table.after_second[coarse(second)]);
  for (std::size_t back = 1; back < heard.size(); ++back)
    fetch(table.seen_from[back - 1][family_of(heard[back])]);
  fetch(table.held[above(phrase.held)]), fetch(table.first[above(phrase.first)]),
      fetch(table.last[above(phrase.last)]);
  fetch(table.note[above(phrase.held)]), fetch(table.long_note[above(phrase.held)]);
  out = table.after[last];
  add(out, table.after_second[coarse(second)]);
  for (std::size_t back = 1; back < heard.size(); ++back)
    add(out, table.seen_from[back - 1][family_of(heard[back])], 1, root_of(heard[back]));
  if (last == second) add(out, table.restated, 1, root_of(last));
  add(out, table.after_two, coarse(second) * (kNoChord + 1) + last, 0);
  const std::size_t step =
      last == kNoChord || second == kNoChord
          ? 12
          : static_cast<std::size_t>(ascending(PitchClass(root_of(second)), PitchClass(root_of(last))));
  add(out, table.after_two_seen,
      (family_of(second) * 13 + step) * (RankingTable::kFamilies + 1) + family_of(last), root_of(last));
  if (second != kNoChord) out[second] += table.again.second + (last == third ? table.again.circle_of_two : 0);
  if (third != kNoChord) out[third] += table.again.third + (last == fourth ? table.again.circle_of_three : 0);
  if (fourth != kNoChord) out[fourth] += table.again.fourth;

  const float beats = phrase.beats;
  add(out, table.by_length[beats < 1.01f   ? 0
                           : beats < 2.01f ? 1
                           : beats < 3.01f ? 2
                           : beats < 4.01f ? 3
                                           : 4]);
  const float long_share = std::min(beats, 8.0f) / 4;
  for (int pc = 0; pc < 12; ++pc) {
    const float share = phrase.weight[static_cast<std::size_t>(pc)] / total;
    if (share <= 0) continue;
    const std::size_t note = above(PitchClass(pc));
    for (std::size_t c = 0; c < kTableChords; ++c)
      out[c] += share * (table.note[note][c] + long_share * table.long_note[note][c]);
  }
  add(out, table.held[above(phrase.held)]);
  add(out, table.first[above(phrase.first)]);
  add(out, table.last[above(phrase.last)]);
  std::array<float, kQualityClasses> style{};
  for (std::size_t chord : heard)
    if (chord != kNoChord)
      for (std::size_t q = 0; q < kQualityClasses; ++q)
        style[q] += table.by_style[chord % kQualityClasses][q];
  std::size_t c = 0;
  for (std::size_t root = 0; root < 12; ++root)
    for (float value : style) out[c++] += value;
}

}  // namespace

void usual_chords(const Phrase& phrase, const std::optional<Key>& key, const ChordsBefore& chords,
                  const TakeMemory* take, const RankingTable& table, ChordScores& out) {
  const float total = std::max(phrase.total(), 1e-6f);
  std::array<std::size_t, kChordsBefore> before;
  before.fill(kNoChord);
  for (std::size_t i = 0; i < chords.size(); ++i) before[i] = place(chords[i]);

  ChordScores relative;
  if (key) {
    const int tonic = PitchClass(7 * signature(*key)).value();
    in_key(phrase, total, tonic, before, table, relative);
    out = {};
    add(out, relative, 1, tonic);
  } else {
    // The keys whose scale contains the notes, or all keys if there is none.
    PitchClassSet notes;
    for (int pc = 0; pc < 12; ++pc)
      if (phrase.weight[static_cast<std::size_t>(pc)] > 0) notes.insert(PitchClass(pc));
    unsigned fitting = 0;
    for (int tonic = 0; tonic < 12; ++tonic)
      if ((notes - PitchClassSet(kMajorScale).transposed(tonic)).empty()) fitting |= 1u << tonic;
    if (fitting == 0) fitting = 0xFFF;
    out = {};
    const float share = 1.0f / static_cast<float>(PitchClassSet(fitting).size());
    for (int tonic = 0; tonic < 12; ++tonic) {
      if (!(fitting >> tonic & 1u)) continue;
      in_key(phrase, total, tonic, before, table, relative);
      add(out, relative, share, tonic);
    }
  }
  if (take) {
    PitchClassSet notes;
    for (int pc = 0; pc < 12; ++pc)
      if (phrase.weight[static_cast<std::size_t>(pc)] > 0) notes.insert(PitchClass(pc));
    take->add_scores(phrase.held, notes, table.take, out);
  }
}

}  // namespace undersong::harmony
