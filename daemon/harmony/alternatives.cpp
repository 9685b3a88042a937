#include "daemon/harmony/alternatives.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour.h"

namespace undersong::harmony {
namespace {

// Chords worth offering. Rows that are only names for bare or ambiguous sets stay with the recogniser.
constexpr std::string_view kOffered[] = {
    "maj", "min", "sus2", "sus4", "maj6", "min6", "maj6(9)", "min6(9)", "7", "maj7", "min7", "minmaj7", "hdim7", "dim7",
    "aug(b7)", "aug(7)", "7(*5,b5)", "sus4(b7)", "9", "maj9", "min9", "minmaj7(9)", "hdim7(11)", "sus4(b7,9)",
    "sus4(b7,b9)", "min9(11)", "maj7(#11)", "maj9(#11)", "9(#11)", "9(13)", "9(#11,13)", "maj9(13)", "min9(11,13)",
    "sus4(b7,9,13)", "maj(9)", "min(9)", "7(b9)", "7(#9)", "7(b13)", "7(b9,13)", "7(b9,b13)", "aug(b7,9)",
    "aug(b7,#9)", "7(*5,b9,#9,#11,b13)", "dim", "aug"};
constexpr std::size_t kOfferedCount = std::size(kOffered);

// A single held note, this many semitones above the root, must find this chord in the list.
struct Promise {
  int interval;
  std::string_view harte;
};
constexpr Promise kPromises[] = {
    {0, "maj"}, {0, "min"}, {11, "maj7"}, {10, "min7"}, {9, "maj6(9)"}, {8, "aug(b7)"}, {7, "maj"}, {7, "min"},
    {6, "7(*5,b9,#9,#11,b13)"}, {5, "min9(11)"}, {4, "maj7"}, {3, "min7"}, {2, "maj9"}, {1, "7(b9)"}};

// Weights of the ranking, one place. Common practice, no source.
constexpr float kChordTone = 1.0f, kTension = 0.45f, kAvoid = -1.5f;
constexpr float kRarityWeight = 0.9f;
constexpr float kFamiliarWeight = 0.6f;
constexpr float kWishWeight = 2.0f;
constexpr float kTriedWeight = 0.15f;  // the untried stand out

struct Tables {
  std::array<Quality, kOfferedCount> offered;
  std::array<std::array<bool, 12>, kOfferedCount> promised{};  // [quality][interval of the note above the root]
  Tables() {
    for (std::size_t i = 0; i < kOfferedCount; ++i) offered[i] = quality(kOffered[i]);
    for (const Promise& promise : kPromises)
      for (std::size_t i = 0; i < kOfferedCount; ++i)
        if (kOffered[i] == promise.harte) promised[i][static_cast<std::size_t>(promise.interval)] = true;
  }
};
const Tables& tables() {
  static const Tables kTables;
  return kTables;
}

struct Candidate {
  float score = 0;
  float familiar_score = 0;
  Colour colour;
  std::uint8_t root = 0;
  std::uint8_t index = 0;  // in kOffered
  bool kept = false;       // promised, or the best of its root
};

// How the melody sits in the chord; below the floor the chord is not offered at all.
constexpr float kWorstFit = -1.2f;
float fit(Quality quality, PitchClass root, const MelodyPitches& melody) {
  float sum = 0, weights = 0, weight = 1;
  for (Pitch note : melody) {
    const Role how = role(quality, ascending(root, note.pitch_class()));
    sum += weight * (how == Role::kChordTone ? kChordTone : how == Role::kTension ? kTension : kAvoid);
    weights += weight;
    weight *= 0.7f;  // the newest note counts most
  }
  return sum / weights;
}

}  // namespace

void Tried::add(const Chord& chord) {
  families_[static_cast<std::size_t>(chord.root.value())] |=
      static_cast<std::uint8_t>(1u << static_cast<unsigned>(row(chord.quality).family));
}
bool Tried::contains(const Chord& chord) const {
  return families_[static_cast<std::size_t>(chord.root.value())] >> static_cast<unsigned>(row(chord.quality).family) & 1u;
}

NoteName root_name_in(const Chord& chord, const std::optional<Key>& key) {
  // Around the key's signature; a minor key has its raised tones on the sharp side.
  const int home = key ? signature(*key) : 0;
  const NoteName name = spell_within(chord.root, key && key->mode == Mode::kMinor ? home - 3 : home - 5);
  // Far from home the other side can read better: F# minor rather than Gb minor, Ab rather than G#.
  const PitchClassSet tones = row(chord.quality).tones;
  const bool minor_third = tones.contains(PitchClass(3)) && !tones.contains(PitchClass(4));
  if (minor_third && name.fifths() <= -6 && name.fifths() < home - 1) return NoteName(name.fifths() + 12);
  if (!minor_third && name.fifths() >= 7 && name.fifths() > home + 4) return NoteName(name.fifths() - 12);
  return name;
}

void rank_alternatives(const Question& question, const Hands* hands, Alternatives& out) {
  out.clear();
  if (question.melody.empty()) return;
  const Tables& known = tables();
  std::array<Candidate, 12 * kOfferedCount> candidates;
  std::size_t count = 0;
  for (int r = 0; r < 12; ++r) {
    const PitchClass root(r);
    std::size_t best_of_root = candidates.size();
    for (std::size_t i = 0; i < kOfferedCount; ++i) {
      const Quality offered = known.offered[i];
      const bool promised = question.melody.size() == 1 &&
                            known.promised[i][static_cast<std::size_t>(ascending(root, question.melody[0].pitch_class()))];
      const float sits = fit(offered, root, question.melody);
      if (sits < kWorstFit && !promised) continue;
      const Chord chord{root, offered, root};
      Candidate& made = candidates[count];
      made.root = static_cast<std::uint8_t>(r);
      made.index = static_cast<std::uint8_t>(i);
      made.kept = promised;
      made.colour = colour(chord, root_name_in(chord, question.key), question.key);
      made.familiar_score = familiarity_score(question.previous, question.key, chord);
      made.score = 1.5f * sits - kRarityWeight * row(offered).rarity + kFamiliarWeight * made.familiar_score;
      if (question.previous && question.previous->root == root && question.previous->quality == offered) made.score -= 1.5f;
      if (question.tried.contains(chord)) made.score -= kTriedWeight;
      made.score += kWishWeight * (question.wishes.brighter * made.colour.dark_bright +
                                   question.wishes.tenser * (2 * made.colour.resolved_tense - 1) +
                                   question.wishes.surprising * (1 - 2 * familiarity(made.familiar_score)));
      if (best_of_root == candidates.size() || made.score > candidates[best_of_root].score) best_of_root = count;
      ++count;
    }
    if (best_of_root < candidates.size()) candidates[best_of_root].kept = true;
  }
  // The kept ones have their place for sure; the rest of the list goes to the best of the others.
  const auto end = candidates.begin() + static_cast<std::ptrdiff_t>(count);
  const auto better = [](const Candidate& a, const Candidate& b) { return a.score > b.score; };
  const auto others = std::partition(candidates.begin(), end, [](const Candidate& c) { return c.kept; });
  const auto kept = static_cast<std::size_t>(others - candidates.begin());
  const auto room = std::min(kMaxAlternatives - std::min(kMaxAlternatives, kept), count - kept);
  const auto last = others + static_cast<std::ptrdiff_t>(room);
  std::partial_sort(others, last, end, better);
  std::sort(candidates.begin(), last, better);

  const PitchClassSet before =
      question.previous ? row(question.previous->quality).tones.transposed(question.previous->root.value()) : PitchClassSet();
  constexpr unsigned kMajorScale = 0b101010110101;
  for (auto it = candidates.begin(); it != last; ++it) {
    Alternative made;
    const Quality offered = known.offered[it->index];
    made.chord = {PitchClass(it->root), offered, PitchClass(it->root)};
    made.root_name = root_name_in(made.chord, question.key);
    for (Pitch note : question.melody) {
      const int interval = ascending(made.chord.root, note.pitch_class());
      made.degrees.push_back(degree_in(offered, interval));
      made.reason.tension |= role(offered, interval) != Role::kChordTone;
    }
    made.score = it->score;
    made.dark_bright = it->colour.dark_bright;
    made.resolved_tense = it->colour.resolved_tense;
    made.familiar = familiarity(it->familiar_score);
    made.tried = question.tried.contains(made.chord);
    const PitchClassSet tones = row(offered).tones.transposed(made.chord.root.value());
    made.reason.move = root_move(question.previous, made.chord.root);
    made.reason.common_tones = static_cast<std::uint8_t>((tones & before).size());
    made.reason.in_key =
        question.key && (tones - PitchClassSet(kMajorScale).transposed(7 * signature(*question.key))).empty();
    if (hands) made.voicing = voice(made.chord, {question.melody.begin(), question.melody.size()}, *hands);
    out.push_back(made);
  }
}

void append_reason(std::string& out, const Alternative& alternative, const MelodyPitches& melody,
                   const std::optional<Chord>& previous) {
  for (std::size_t i = 0; i < melody.size() && i < alternative.degrees.size(); ++i) {
    if (i > 0) out += ", ";
    append_text(out, alternative.root_name.above(alternative.degrees[i]));
    out += " is its ";
    if (alternative.degrees[i] == Degree{1, 0}) {
      out += "root";
    } else {
      append_text(out, alternative.degrees[i]);
    }
  }
  static constexpr std::array<std::string_view, 13> kMoves{
      "", "same root", "root up a semitone", "root up a step", "root up a minor third", "root up a major third",
      "root falls a fifth", "root a tritone away", "root rises a fifth", "root down a major third",
      "root down a minor third", "root down a step", "root down a semitone"};
  if (previous && alternative.reason.move != RootMove::kNone) {
    out += "; ";
    out += kMoves[static_cast<std::size_t>(alternative.reason.move)];
    static constexpr std::array<std::string_view, 8> kCommon{
        "no common tone", "one common tone", "two common tones", "three common tones", "four common tones",
        "five common tones", "six common tones", "seven common tones"};
    out += "; ";
    out += kCommon[std::min<std::size_t>(alternative.reason.common_tones, 7)];
  }
  if (alternative.reason.in_key) out += "; in the key";
}

}  // namespace undersong::harmony
