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
constexpr float kFitWeight = 1.5f, kOlderNote = 0.7f;
constexpr float kWorstFit = -1.2f;  // below, a chord is not offered at all
constexpr float kSameChord = 1.5f;  // the chord in force is no alternative to itself
constexpr float kRarityWeight = 0.9f;
constexpr float kFamiliarWeight = 0.6f;
constexpr float kWishWeight = 2.0f;

// What a chord is in a key, worked out once for all 25 of them (24 and none), so that a question costs little.
struct InKey {
  float home = 0;  // home_score
  Colour colour;
  NoteName root_name;
  bool all_tones = false;  // lie in the key
};

struct Tables {
  std::array<Quality, kOfferedCount> offered;
  std::array<Family, kOfferedCount> family;
  std::array<float, kOfferedCount> rarity;
  std::array<std::array<float, 12>, kOfferedCount> fit{};       // [quality][interval of a note above the root]
  std::array<std::array<bool, 12>, kOfferedCount> promised{};
  std::array<std::array<InKey, 12 * kOfferedCount>, 25> in_key;  // [key][root * kOfferedCount + quality]

  static std::size_t key_index(const std::optional<Key>& key) {
    return key ? static_cast<std::size_t>(key->tonic.value() + (key->mode == Mode::kMinor ? 12 : 0)) : 24;
  }

  Tables() {
    for (std::size_t i = 0; i < kOfferedCount; ++i) {
      offered[i] = quality(kOffered[i]);
      family[i] = row(offered[i]).family;
      rarity[i] = row(offered[i]).rarity;
      for (int interval = 0; interval < 12; ++interval) {
        const Role how = role(offered[i], interval);
        fit[i][static_cast<std::size_t>(interval)] = how == Role::kChordTone ? kChordTone : how == Role::kTension ? kTension : kAvoid;
      }
      for (const Promise& promise : kPromises)
        if (kOffered[i] == promise.harte) promised[i][static_cast<std::size_t>(promise.interval)] = true;
    }
    constexpr unsigned kMajorScale = 0b101010110101;
    for (int k = 0; k < 25; ++k) {
      std::optional<Key> key;
      if (k < 24) key = Key{PitchClass(k), k < 12 ? Mode::kMajor : Mode::kMinor};
      const PitchClassSet scale = key ? PitchClassSet(kMajorScale).transposed(7 * signature(*key)) : PitchClassSet();
      for (int r = 0; r < 12; ++r)
        for (std::size_t i = 0; i < kOfferedCount; ++i) {
          const Chord chord{PitchClass(r), offered[i], PitchClass(r)};
          InKey& made = in_key[static_cast<std::size_t>(k)][static_cast<std::size_t>(r) * kOfferedCount + i];
          made.home = home_score(key, chord);
          made.root_name = root_name_in(chord, key);
          made.colour = colour(chord, made.root_name, key);
          made.all_tones = key && (row(offered[i]).tones.transposed(r) - scale).empty();
        }
    }
  }
};
const Tables& tables() {
  static const Tables kTables;
  return kTables;
}

struct Candidate {
  float score = 0;
  float familiar_score = 0;
  std::uint8_t root = 0;
  std::uint8_t index = 0;  // in kOffered
  bool kept = false;       // promised, or the best of its root
};

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
  const auto& in_key = known.in_key[Tables::key_index(question.key)];
  std::array<Candidate, 12 * kOfferedCount> candidates;
  std::size_t count = 0;
  for (int r = 0; r < 12; ++r) {
    const PitchClass root(r);
    std::array<float, 8> motion{};  // by family
    for (std::size_t f = 0; f < motion.size(); ++f) motion[f] = motion_score(question.previous, root, static_cast<Family>(f));
    FixedVector<std::size_t, kMelodyNotes> intervals;
    for (Pitch note : question.melody) intervals.push_back(static_cast<std::size_t>(ascending(root, note.pitch_class())));
    const bool single = intervals.size() == 1;
    std::size_t best_of_root = candidates.size();
    for (std::size_t i = 0; i < kOfferedCount; ++i) {
      // The newest note counts most.
      const float sits = single ? known.fit[i][intervals[0]]
                                : (known.fit[i][intervals[0]] + kOlderNote * known.fit[i][intervals[1]]) / (1 + kOlderNote);
      const bool promised = single && known.promised[i][intervals[0]];
      if (sits < kWorstFit && !promised) continue;
      const InKey& home = in_key[static_cast<std::size_t>(r) * kOfferedCount + i];
      Candidate& made = candidates[count];
      made.root = static_cast<std::uint8_t>(r);
      made.index = static_cast<std::uint8_t>(i);
      made.kept = promised;
      made.familiar_score = home.home + motion[static_cast<std::size_t>(known.family[i])];
      made.score = kFitWeight * sits - kRarityWeight * known.rarity[i] + kFamiliarWeight * made.familiar_score;
      if (question.previous && question.previous->root == root && question.previous->quality == known.offered[i])
        made.score -= kSameChord;
      made.score += kWishWeight * (question.wishes.brighter * home.colour.dark_bright +
                                   question.wishes.tenser * (2 * home.colour.resolved_tense - 1));
      if (question.wishes.surprising != 0)
        made.score += kWishWeight * question.wishes.surprising * (1 - 2 * familiarity(made.familiar_score));
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
  std::nth_element(others, last, end, better);
  std::sort(candidates.begin(), last, better);

  const PitchClassSet before =
      question.previous ? row(question.previous->quality).tones.transposed(question.previous->root.value()) : PitchClassSet();
  for (auto it = candidates.begin(); it != last; ++it) {
    Alternative made;
    const Quality offered = known.offered[it->index];
    const InKey& home = in_key[it->root * kOfferedCount + it->index];
    made.chord = {PitchClass(it->root), offered, PitchClass(it->root)};
    made.root_name = home.root_name;
    for (Pitch note : question.melody) {
      const int interval = ascending(made.chord.root, note.pitch_class());
      made.degrees.push_back(degree_in(offered, interval));
      made.reason.tension |= role(offered, interval) != Role::kChordTone;
    }
    made.score = it->score;
    made.dark_bright = home.colour.dark_bright;
    made.resolved_tense = home.colour.resolved_tense;
    made.familiar = familiarity(it->familiar_score);
    made.tried = question.tried.contains(made.chord);
    made.reason.move = root_move(question.previous, made.chord.root);
    made.reason.common_tones =
        static_cast<std::uint8_t>((row(offered).tones.transposed(made.chord.root.value()) & before).size());
    made.reason.in_key = home.all_tones;
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
