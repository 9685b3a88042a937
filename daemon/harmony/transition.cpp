#include "daemon/harmony/transition.h"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "daemon/harmony/lanes.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

constexpr std::size_t kNoChord = RankingTable::kNoChord;

std::size_t index_of(const Chord& chord) {  // index of a chord by its absolute root
  const auto cls = quality_class(chord.quality);
  if (cls == QualityClass::kNone) return kNoChord;
  return static_cast<std::size_t>(chord.root.value()) * kQualityClasses + static_cast<std::size_t>(cls);
}
std::size_t transposed(std::size_t chord, int semitones) {  // transposes by 0..11 semitones upwards
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
int root_number(std::size_t chord) {
  return chord == kNoChord ? 0 : static_cast<int>(chord / kQualityClasses);
}

// out += wa * a + wb * b + wc * c, in whole lanes as far as they reach.
[[gnu::always_inline]] inline void add_three(float* out, const float* a, const float* b, const float* c,
                                             float wa, float wb, float wc, std::size_t count) {
  std::size_t i = 0;
  for (; i + kLane <= count; i += kLane)
    store(out + i, load(out + i) + wa * load(a + i) + wb * load(b + i) + wc * load(c + i));
  for (; i < count; ++i) out[i] += wa * a[i] + wb * b[i] + wc * c[i];
}

// The same row of each idiom by its share, the row's chords standing `semitones` higher.
template <class RowOf>
[[gnu::always_inline]] inline void add_shared(ChordScores& out, const RankingTable& table,
                                              const IdiomShares& shares, RowOf row_of, float weight = 1,
                                              int semitones = 0) {
  static_assert(kIdioms == 3);
  const float *a = row_of(table.idiom[0]).data(), *b = row_of(table.idiom[1]).data(),
              *c = row_of(table.idiom[2]).data();
  const float wa = weight * shares[0], wb = weight * shares[1], wc = weight * shares[2];
  const std::size_t split = static_cast<std::size_t>(semitones) * kQualityClasses;
  const std::size_t rest = kTableChords - split;
  add_three(out.data() + split, a, b, c, wa, wb, wc, rest);
  add_three(out.data(), a + rest, b + rest, c + rest, wa, wb, wc, split);
}

// out += weight * row, likewise.
[[gnu::always_inline]] inline void add(ChordScores& out, const RankingTable::Row& row, float weight = 1,
                                       int semitones = 0) {
  const std::size_t split = static_cast<std::size_t>(semitones) * kQualityClasses;
  const auto part = [&](float* to, const float* from, std::size_t count) {
    std::size_t i = 0;
    for (; i + kLane <= count; i += kLane) store(to + i, load(to + i) + weight * load(from + i));
    for (; i < count; ++i) to[i] += weight * from[i];
  };
  part(out.data() + split, row.data(), kTableChords - split);
  part(out.data(), row.data() + kTableChords - split, split);
}

void add(ChordScores& out, const std::vector<RankingTable::Listed>& list, std::size_t context,
         int semitones) {
  auto it = std::lower_bound(list.begin(), list.end(), context,
                             [](const auto& entry, std::size_t c) { return entry.context < c; });
  for (; it != list.end() && it->context == context; ++it) out[transposed(it->chord, semitones)] += it->value;
}

using Heard = std::array<std::size_t, kChordsBefore>;  // newest first

std::size_t length_of(float beats) {
  return beats < 1.01f ? 0 : beats < 2.01f ? 1 : beats < 3.01f ? 2 : beats < 4.01f ? 3 : 4;
}

// What the network adds; all seen from the tonic.
[[gnu::always_inline]] inline void add_network(const Phrase& phrase, float total, int tonic,
                                               const Heard& heard, const IdiomShares& shares,
                                               const RankingTable& table, ChordScores& out) {
  using Ranked = RankingTable;
  const auto above = [](PitchClass from, PitchClass note) {
    return static_cast<std::size_t>(ascending(from, note));
  };
  const PitchClass home(tonic), last_root(tonic + root_number(heard[0]));
  Ranked::Units units = table.network_bias;
  const auto sees = [&](std::size_t input, float much = 1) {
    const Ranked::Units& row = table.network_in[input];
    for (std::size_t i = 0; i < Ranked::kHidden; i += kLane)
      store(&units[i], load(&units[i]) + much * load(&row[i]));
  };
  for (std::size_t j = 0; j < heard.size(); ++j) {
    sees(Ranked::kChord + j * (kNoChord + 1) + heard[j]);
    if (j > 0)
      sees(Ranked::kSeen + (j - 1) * (kNoChord + 1) +
           transposed(heard[j], (12 - root_number(heard[0])) % 12));
    if (heard[j] != kNoChord) sees(Ranked::kStyle + heard[j] % kQualityClasses);
  }
  sees(Ranked::kQuality + (heard[0] == kNoChord ? kQualityClasses : heard[0] % kQualityClasses));
  for (int pc = 0; pc < 12; ++pc) {
    const float share = phrase.weight[static_cast<std::size_t>(pc)] / total;
    if (share <= 0) continue;
    const std::size_t note = above(home, PitchClass(pc));
    sees(Ranked::kShare + note, share);
    sees(Ranked::kThere + note);
    sees(Ranked::kSeenShare + above(last_root, PitchClass(pc)), share);
  }
  sees(Ranked::kHeldNote + above(home, phrase.held));
  sees(Ranked::kFirstNote + above(home, phrase.first));
  sees(Ranked::kLastNote + above(home, phrase.last));
  sees(Ranked::kSeenHeld + above(last_root, phrase.held));
  sees(Ranked::kLength + length_of(phrase.beats));
  for (std::size_t i = 0; i < kIdioms; ++i) sees(Ranked::kShares + i, shares[i]);
  std::array<std::uint8_t, Ranked::kHidden> active;
  std::size_t count = 0;
  for (std::size_t k = 0; k < Ranked::kHidden; ++k)
    if (units[k] > 0) active[count++] = static_cast<std::uint8_t>(k);
  ChordScores seen;
  constexpr std::size_t kBlock = 4 * kLane;
  static_assert(std::tuple_size_v<Ranked::WideRow> % kBlock == 0);
  const auto multiply = [&](const std::vector<Ranked::WideRow>& rows, const auto& take) {
    for (std::size_t from = 0; from < rows[0].size(); from += kBlock) {
      Lane a{}, b{}, c{}, d{};
      for (std::size_t n = 0; n < count; ++n) {
        const float unit = units[active[n]];
        const float* row = rows[active[n]].data() + from;
        a += unit * load(row), b += unit * load(row + kLane);
        c += unit * load(row + 2 * kLane), d += unit * load(row + 3 * kLane);
      }
      std::array<float, kBlock> sums;
      store(&sums[0], a), store(&sums[kLane], b), store(&sums[2 * kLane], c), store(&sums[3 * kLane], d);
      for (std::size_t i = 0; i < kBlock && from + i < kTableChords; ++i) take(from + i, sums[i]);
    }
  };
  multiply(table.network_out, [&](std::size_t at, float value) { out[at] += value; });
  multiply(table.network_out_seen, [&](std::size_t at, float value) { seen[at] = value; });
  add(out, seen, 1, root_number(heard[0]));
}

// All seen from the tonic, 0..11.
UNDERSONG_WIDE void fits_of_key(const Phrase& phrase, float total, int tonic, const Heard& before,
                                const IdiomShares& shares, const RankingTable& table, ChordScores& out) {
  using Of = RankingTable::OfIdiom;
  const auto above = [&](PitchClass note) {
    return static_cast<std::size_t>(ascending(PitchClass(tonic), note));
  };
  Heard heard;
  for (std::size_t i = 0; i < heard.size(); ++i) heard[i] = transposed(before[i], (12 - tonic) % 12);
  const std::size_t last = heard[0], second = heard[1], third = heard[2], fourth = heard[3];

  for (const Of& of : table.idiom) {
    fetch(of.after_second[coarse(second)]);
    for (std::size_t back = 1; back < heard.size(); ++back)
      fetch(of.seen_from[back - 1][family_of(heard[back])]);
    fetch(of.held[above(phrase.held)]), fetch(of.first[above(phrase.first)]),
        fetch(of.last[above(phrase.last)]);
    fetch(of.note[above(phrase.held)]);
  }
  out = {};
  const auto add_row = [&](auto row_of, float weight = 1, int semitones = 0) {
    add_shared(out, table, shares, row_of, weight, semitones);
  };
  add_row([&](const Of& of) -> auto& { return of.after[last]; });
  add_row([&](const Of& of) -> auto& { return of.after_second[coarse(second)]; });
  for (std::size_t back = 1; back < heard.size(); ++back)
    add_row(
        [&](const Of& of) -> auto& { return of.seen_from[back - 1][family_of(heard[back])]; }, 1,
        root_number(heard[back]));
  if (last == second)
    add_row(
        [](const Of& of) -> auto& { return of.restated; }, 1, root_number(last));
  add(out, table.after_two, coarse(second) * (kNoChord + 1) + last, 0);
  const std::size_t step = last == kNoChord || second == kNoChord
                               ? 12
                               : static_cast<std::size_t>(ascending(PitchClass(root_number(second)),
                                                                    PitchClass(root_number(last))));
  add(out, table.after_two_seen,
      (family_of(second) * 13 + step) * (RankingTable::kFamilies + 1) + family_of(last), root_number(last));
  if (second != kNoChord) out[second] += table.again.second + (last == third ? table.again.circle_of_two : 0);
  if (third != kNoChord) out[third] += table.again.third + (last == fourth ? table.again.circle_of_three : 0);
  if (fourth != kNoChord) out[fourth] += table.again.fourth;

  add_row([&](const Of& of) -> auto& { return of.by_length[length_of(phrase.beats)]; });
  for (int pc = 0; pc < 12; ++pc) {
    const float share = phrase.weight[static_cast<std::size_t>(pc)] / total;
    if (share <= 0) continue;
    add_row(
        [&](const Of& of) -> auto& { return of.note[above(PitchClass(pc))]; }, share);
  }
  add_row([&](const Of& of) -> auto& { return of.held[above(phrase.held)]; });
  add_row([&](const Of& of) -> auto& { return of.first[above(phrase.first)]; });
  add_row([&](const Of& of) -> auto& { return of.last[above(phrase.last)]; });
  std::array<float, kQualityClasses> style{};
  for (std::size_t chord : heard)
    if (chord != kNoChord)
      for (std::size_t i = 0; i < kIdioms; ++i)
        for (std::size_t q = 0; q < kQualityClasses; ++q)
          style[q] += shares[i] * table.idiom[i].by_style[chord % kQualityClasses][q];
  std::size_t c = 0;
  for (std::size_t root = 0; root < 12; ++root)
    for (float value : style) out[c++] += value;
  add_network(phrase, total, tonic, heard, shares, table, out);
}

Heard places(const ChordsBefore& chords) {
  Heard before;
  before.fill(kNoChord);
  for (std::size_t i = 0; i < chords.size(); ++i) before[i] = index_of(chords[i]);
  return before;
}

constexpr float kLean = 3;  // logarithm

}  // namespace

IdiomShares idiom_shares(const std::optional<Key>& key, const ChordsBefore& chords, const TakeMemory* take,
                         std::optional<Idiom> lean, const RankingTable& table) {
  const RankingTable::Gate& gate = table.gate;
  std::optional<PitchClass> tonic;
  if (key) tonic = PitchClass(7 * signature(*key));
  IdiomShares sum = gate.at_first;
  const auto tells = [&](const IdiomShares& values) {
    for (std::size_t i = 0; i < kIdioms; ++i) sum[i] += values[i];
  };
  if (take && !take->empty()) {
    tells(take->idiom_evidence(tonic, gate));
  } else {
    const Heard before = places(chords);
    for (std::size_t j = 0; j < before.size(); ++j) {
      const std::size_t chord = before[j];
      if (chord == kNoChord) continue;
      tells(gate.quality[chord % kQualityClasses]);
      if (tonic) tells(gate.chord[transposed(chord, (12 - tonic->value()) % 12)]);
      if (j + 1 == before.size() || before[j + 1] == kNoChord) continue;
      const int step = ascending(PitchClass(root_number(before[j + 1])), PitchClass(root_number(chord)));
      tells(gate.step[before[j + 1] % kQualityClasses][static_cast<std::size_t>(step)]
                     [chord % kQualityClasses]);
    }
  }
  if (lean) sum[static_cast<std::size_t>(*lean)] += kLean;
  const float most = *std::max_element(sum.begin(), sum.end());
  float total = 0;
  for (float& value : sum) total += value = std::exp(value - most);
  for (float& value : sum) value /= total;
  return sum;
}

void usual_chords(const Phrase& phrase, const std::optional<Key>& key, const ChordsBefore& chords,
                  const TakeMemory* take, const RankingTable& table, ChordScores& out,
                  std::optional<Idiom> lean) {
  const float total = std::max(phrase.total(), 1e-6f);
  const Heard before = places(chords);
  const IdiomShares shares = idiom_shares(key, chords, take, lean, table);

  ChordScores relative;
  if (key) {
    const int tonic = PitchClass(7 * signature(*key)).value();
    fits_of_key(phrase, total, tonic, before, shares, table, relative);
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
      fits_of_key(phrase, total, tonic, before, shares, table, relative);
      add(out, relative, share, tonic);
    }
  }
  if (take) {
    PitchClassSet notes;
    for (int pc = 0; pc < 12; ++pc)
      if (phrase.weight[static_cast<std::size_t>(pc)] > 0) notes.insert(PitchClass(pc));
    std::array<float, RankingTable::kTakeWeights> weights{};
    for (std::size_t i = 0; i < kIdioms; ++i)
      for (std::size_t k = 0; k < weights.size(); ++k) weights[k] += shares[i] * table.idiom[i].take[k];
    take->add_scores(phrase.held, notes, weights, out);
  }
}

}  // namespace undersong::harmony
