#include "daemon/harmony/written_spelling.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>

#include "daemon/harmony/chord_vocabulary.h"

namespace undersong::harmony {
namespace {

// Fitted prices; see the header. Distances are in fifths.
constexpr double kRootMiddle = 1.92;  // middle of the chord roots, in fifths above the signature
constexpr double kRootDistance = 0.19;
constexpr double kRootTones = 0.1;    // weight of the chord's other tones in its place
constexpr double kLeadingTone = 3.0;  // for not spelling the chord of a leading tone that way
constexpr double kMelodyMiddle = 3.6;
constexpr double kMelodyDistance = 1.0;
constexpr double kChordTone = 7.0;  // gained by a name that the chord itself uses; it outweighs the key
constexpr double kFarFromChord = 0.16;
constexpr double kLeap = 2.0;  // for each fifth beyond a diatonic step or leap between neighbours

using Names = std::array<int, 3>;  // places on the line of fifths

Names candidates(PitchClass pc, int signature) {
  const int middle = spell_within(pc, signature - 5).fifths();
  return {middle - 12, middle, middle + 12};
}

double mean_fifths(Quality quality) {
  const QualityRow& made = row(quality);
  double sum = 0;
  for (Degree degree : made.degrees) sum += NoteName(0).above(degree).fifths();
  return sum / static_cast<double>(made.degrees.size());
}

bool diminished(Quality quality) {
  const Family family = row(quality).family;
  return family == Family::kDiminished || family == Family::kHalfDiminished;
}

double root_price(int fifths, int signature, Quality quality) {
  return kRootDistance * std::abs(fifths + kRootTones * mean_fifths(quality) - signature - kRootMiddle);
}

double melody_price(int fifths, int signature, const Chord* chord, const NoteName* root) {
  double price = kMelodyDistance * std::abs(fifths - signature - kMelodyMiddle);
  if (!chord) return price;
  const int above = fifths - root->fifths();
  const auto& degrees = row(chord->quality).degrees;
  // A raised fifth may be written either way: the notes before and after decide.
  const bool own = std::any_of(degrees.begin(), degrees.end(), [&](Degree d) {
    return d != Degree{5, 1} && NoteName(0).above(d).fifths() == above;
  });
  return own ? price - kChordTone : price + kFarFromChord * std::max(0.0, std::abs(above - 1.5) - 4);
}

// The cheapest sequence of names: unary(i, fifths) + pair(i, before, fifths), summed over i.
template <class Unary, class Pair>
std::vector<NoteName> cheapest(const std::vector<Names>& items, Unary unary, Pair pair) {
  if (items.empty()) return {};
  std::vector<std::array<std::size_t, 3>> from(items.size());
  std::array<double, 3> price{};
  for (std::size_t c = 0; c < 3; ++c) price[c] = unary(0, items[0][c]);
  for (std::size_t i = 1; i < items.size(); ++i) {
    std::array<double, 3> next{};
    for (std::size_t c = 0; c < 3; ++c) {
      double best = std::numeric_limits<double>::infinity();
      for (std::size_t b = 0; b < 3; ++b) {
        const double all = price[b] + pair(i, items[i - 1][b], items[i][c]);
        if (all < best) best = all, from[i][c] = b;
      }
      next[c] = best + unary(i, items[i][c]);
    }
    price = next;
  }
  std::size_t c = static_cast<std::size_t>(std::min_element(price.begin(), price.end()) - price.begin());
  std::vector<NoteName> names(items.size());
  for (std::size_t i = items.size(); i-- > 0;) {
    names[i] = NoteName(items[i][c]);
    c = from[i][c];
  }
  return names;
}

}  // namespace

int signature_of(std::span<const WrittenChord> chords, std::span<const WrittenNote> melody) {
  std::array<double, 12> weight{};
  for (const WrittenChord& written : chords)
    for (int tone = 0; tone < 12; ++tone)
      if (row(written.chord.quality).tones.contains(PitchClass(tone)))
        weight[static_cast<std::size_t>(transpose(written.chord.root, tone).value())] +=
            (written.end - written.begin) / 3;
  for (const WrittenNote& note : melody)
    weight[static_cast<std::size_t>(note.pitch.pitch_class().value())] += note.end - note.begin;
  const auto at = [&](int fifths) {
    return weight[static_cast<std::size_t>(NoteName(fifths).pitch_class().value())];
  };
  int best = 0;
  double most = -1;
  for (int signature = -6; signature <= 6; ++signature) {
    double score = 0;
    for (int fifths = -1; fifths <= 5; ++fifths) score += at(signature + fifths);
    score += 0.2 * at(signature) + 0.1 * at(signature + 1);  // tonic and dominant count more
    if (!chords.empty() && chords.back().chord.root == NoteName(signature).pitch_class()) score *= 1.03;
    score -= 0.001 * std::abs(signature);
    if (score > most) most = score, best = signature;
  }
  return best;
}

std::vector<NoteName> spell_roots(std::span<const WrittenChord> chords, int signature) {
  std::vector<Names> items;
  for (const WrittenChord& written : chords) items.push_back(candidates(written.chord.root, signature));
  return cheapest(
      items,
      [&](std::size_t i, int fifths) { return root_price(fifths, signature, chords[i].chord.quality); },
      [&](std::size_t i, int before, int fifths) {
        const bool leads = diminished(chords[i - 1].chord.quality) &&
                           ascending(chords[i - 1].chord.root, chords[i].chord.root) == 1;
        return leads && fifths - before != -5 ? kLeadingTone : 0.0;
      });
}

std::vector<NoteName> spell_melody(std::span<const WrittenNote> melody, std::span<const WrittenChord> chords,
                                   std::span<const NoteName> roots, int signature) {
  std::vector<Names> items;
  std::vector<std::size_t> under;  // index of the chord under each note, or chords.size()
  std::size_t at = 0;
  for (const WrittenNote& note : melody) {
    items.push_back(candidates(note.pitch.pitch_class(), signature));
    while (at + 1 < chords.size() && chords[at + 1].begin <= note.begin) ++at;
    const bool inside = at < chords.size() && chords[at].begin <= note.begin && note.begin < chords[at].end;
    under.push_back(inside ? at : chords.size());
  }
  return cheapest(
      items,
      [&](std::size_t i, int fifths) {
        const bool known = under[i] < chords.size();
        return melody_price(fifths, signature, known ? &chords[under[i]].chord : nullptr,
                            known ? &roots[under[i]] : nullptr);
      },
      [](std::size_t, int before, int fifths) { return kLeap * std::max(0, std::abs(fifths - before) - 5); });
}

NoteName spell_note(PitchClass pitch_class, int signature, const Chord* chord, const NoteName* root) {
  const Names names = candidates(pitch_class, signature);
  return plain_name(NoteName(*std::min_element(names.begin(), names.end(), [&](int a, int b) {
    return melody_price(a, signature, chord, root) < melody_price(b, signature, chord, root);
  })));
}

}  // namespace undersong::harmony
