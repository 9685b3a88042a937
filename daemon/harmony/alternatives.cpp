#include "daemon/harmony/alternatives.h"

#include <algorithm>
#include <array>
#include <bit>
#include <span>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/colour.h"
#include "daemon/harmony/lanes.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/places.h"
#include "daemon/harmony/ranking_terms.h"
#include "daemon/harmony/slash_chords.h"
#include "daemon/harmony/voicing_search.h"

namespace undersong::harmony {
namespace {

// Common practice, no source.
constexpr float kLikedWeight = 0.2f, kLikedKin = 0.1f;    // of the very chord, of its root and family
constexpr int kMostLiked = 4;                             // coming back more often says no more
constexpr float kBrightWeight = 200, kTenseWeight = 400;  // of a full wish
constexpr float kPlainness = 5;  // price of a rarer name within its class at the familiar end, in logarithms
constexpr std::size_t kSlashKept = 3;
constexpr float kLikelihoodRules = 20;  // a weight of the familiar scale that outweighs all else
constexpr std::uint64_t kEveryQuality = (std::uint64_t{1} << kOfferedCount) - 1;

// The weight of the familiar scale. It falls steadily as the wish for surprise grows, so that the list moves
// in one direction, and it is by far the greatest at the familiar end.
float familiar_weight(float surprising) {
  if (surprising >= 0) return -7 * surprising;
  const float square = surprising * surprising;
  return 7 * -surprising + 40000 * square * square;
}

// A small wish leans the list; a full one puts the scale before everything but how the melody fits.
float wish_weight(float wish) {
  const float square = wish * wish;
  return wish * (0.05f + 0.95f * square * square);
}

// The scores of all candidates without wishes and without places.
UNDERSONG_WIDE void make_scores(Candidates& candidates, const Terms& terms) {
  const Offered& known = offered();
  const Question& question = terms.question;
  for (std::size_t r = 0; r < 12; ++r) {
    const PitchClass root(static_cast<int>(r));
    float* score = &candidates.score[r * kPadded];
    float* familiar = &candidates.familiar[r * kPadded];
    const float* liking = &known.liking[terms.key][r * kPadded];
    std::array<float, kQualityClasses> usual_class, usual_triad;
    for (std::size_t q = 0; q < kQualityClasses; ++q) {
      usual_class[q] = 1 + terms.usual.chord[r * kQualityClasses + q] / kFamiliarSpan;
      usual_triad[q] = kUsualWeight * terms.usual.triad[r][triad_kind(static_cast<QualityClass>(q))];
    }
    for (std::size_t i = 0; i < kOfferedCount; ++i) {
      score[i] = usual_triad[known.cls[i]];
      familiar[i] = usual_class[known.cls[i]] - kPlainness / kFamiliarSpan * known.rarer[i];
    }
    for (std::size_t i = kOfferedCount; i < kPadded; ++i) score[i] = familiar[i] = 0;
    const Lane nothing{};
    for (std::size_t i = 0; i < kPadded; i += kLane) {
      const Lane here = load(familiar + i);  // never above 1
      store(familiar + i, here > nothing ? here : nothing);
      store(score + i, load(score + i) + load(liking + i));
    }
    terms.add_notes(r, known.fit, known.tone, score);
    for (std::size_t i = kOfferedCount; i < kPadded; ++i) score[i] = kGone;
    std::uint64_t avoided = 0;
    for (const Pitch note : question.melody)
      avoided |= known.avoids[static_cast<std::size_t>(ascending(root, note.pitch_class()))];
    candidates.avoided[r] = avoided;
    for (; avoided; avoided &= avoided - 1) score[std::countr_zero(avoided)] += kAvoided;
    if (question.previous && question.previous->root == root)
      for (std::size_t i = 0; i < kOfferedCount; ++i)
        if (question.previous->quality == known.quality[i]) score[i] += kSameChord;
    const auto& kin = question.liked.kin(root);
    if (std::any_of(kin.begin(), kin.end(), [](auto times) { return times > 0; }))
      for (std::size_t i = 0; i < kOfferedCount; ++i)
        score[i] += kLikedKin * static_cast<float>(kin[known.family[i]]);
  }
  for (const auto& [chord, times] : question.liked.chords())
    for (std::size_t i = 0; i < kOfferedCount; ++i)
      if (known.quality[i] == chord.quality)
        candidates.score[static_cast<std::size_t>(chord.root.value()) * kPadded + i] +=
            kLikedWeight * static_cast<float>(std::min<int>(times, kMostLiked));

  find_slash_chords(terms, candidates.slash);
  for (std::size_t i = 0; i < kSlashPadded; ++i) {
    const bool there = i < candidates.slash.size();
    candidates.score[kOverRoot + i] = there ? candidates.slash[i].score : kGone;
    candidates.familiar[kOverRoot + i] = there ? candidates.slash[i].familiar : 0;
  }
  // The same chord by its other name goes, if the root keeps another chord and the slash chord is among the
  // best; otherwise the slash chord goes.
  for (std::size_t i = 0; i < candidates.slash.size(); ++i) {
    const std::uint64_t same = candidates.slash[i].same_as;
    if (same == 0) continue;
    const auto bass = static_cast<std::size_t>(candidates.slash[i].chord.bass.value());
    std::uint64_t others = kEveryQuality & ~candidates.avoided[bass] & ~same;
    for (std::uint64_t left = others; left; left &= left - 1)
      if (candidates.score[bass * kPadded + static_cast<std::size_t>(std::countr_zero(left))] < kGone / 2)
        others &= ~(left & -left);
    if (i >= kSlashKept || others == 0) {
      candidates.score[kOverRoot + i] = kGone;
      continue;
    }
    for (std::uint64_t left = same; left; left &= left - 1)
      candidates.score[bass * kPadded + static_cast<std::size_t>(std::countr_zero(left))] = kGone;
  }
}

// Adds the wishes, and keeps the best of each root and of each combination that the list always has.
UNDERSONG_WIDE void add_wishes(Candidates& candidates, const Question& question, std::size_t key) {
  const Offered& known = offered();
  const float familiar = familiar_weight(question.wishes.surprising);
  const float bright = kBrightWeight * wish_weight(question.wishes.brighter),
              tense = kTenseWeight * wish_weight(question.wishes.tenser);
  if (familiar != 0 || bright != 0 || tense != 0) {
    for (std::size_t at = 0; at < kOverRoot; at += kLane)
      store(&candidates.score[at], load(&candidates.score[at]) + familiar * load(&candidates.familiar[at]) +
                                       bright * load(&known.bright[key][at]) +
                                       tense * load(&known.tense[key][at]));
    for (std::size_t i = 0; i < candidates.slash.size(); ++i) {
      const Colour& colour = candidates.slash[i].home->colour;
      candidates.score[kOverRoot + i] += familiar * candidates.slash[i].familiar +
                                         bright * colour.dark_bright + tense * colour.resolved_tense;
    }
  }
  // At the familiar end, slash chords come as they are usual.
  if (familiar < kLikelihoodRules)
    for (std::size_t i = 0, kept = 0; i < candidates.slash.size() && kept < kSlashKept; ++i)
      if (candidates.score[kOverRoot + i] > kGone / 2) {
        candidates.kept[12] |= std::uint64_t{1} << i;
        ++kept;
      }
  for (std::size_t r = 0; r < 12; ++r) {
    const float* score = &candidates.score[r * kPadded];
    const auto keep_best = [&](std::uint64_t of) {  // bit = quality
      std::size_t best = kPadded;
      float most = kGone / 2;
      for (; of; of &= of - 1) {
        const auto i = static_cast<std::size_t>(std::countr_zero(of));
        best = score[i] > most ? i : best;
        most = score[i] > most ? score[i] : most;
      }
      if (best < kPadded) candidates.kept[r] |= std::uint64_t{1} << best;
    };
    const std::uint64_t fits = kEveryQuality & ~candidates.avoided[r];
    if (const std::size_t best = greatest<kPadded>(score); fits >> best & 1u)
      candidates.kept[r] |= std::uint64_t{1} << best;
    else
      keep_best(fits);
    if (question.melody.size() > 1) continue;
    const PitchClass root(static_cast<int>(r));
    for (const std::uint64_t promise :
         known.promised[static_cast<std::size_t>(ascending(root, question.melody[0].pitch_class()))])
      keep_best(promise);
  }
}

// The candidates that get into the list, best first. Those that are kept always get in; the best of the
// others fill the rest.
using Listed = FixedVector<std::uint16_t, kMaxAlternatives>;
Listed best_of(const Candidates& candidates, bool wished) {
  std::size_t kept = 0;
  for (const std::uint64_t row : candidates.kept) kept += static_cast<std::size_t>(std::popcount(row));
  Listed listed;
  std::size_t room = kMaxAlternatives - kept;
  std::array<std::uint64_t, kRows> waiting = candidates.kept;
  const auto take_until_full = [&](auto next) {
    while (room > 0) {
      const std::size_t at = next();
      std::uint64_t& row = waiting[at / kPadded];
      const std::uint64_t bit = std::uint64_t{1} << at % kPadded;
      room -= !(row & bit);
      row &= ~bit;
      listed.push_back(static_cast<std::uint16_t>(at));
    }
  };
  if (!wished && candidates.order.full()) {
    take_until_full([&, i = std::size_t{0}]() mutable { return candidates.order[i++]; });
  } else {
    Tops tops(candidates.score);
    take_until_full([&] { return tops.take(); });
  }
  const std::size_t rest = listed.size();
  for (std::size_t row = 0; row < kRows; ++row)
    for (; waiting[row]; waiting[row] &= waiting[row] - 1)
      listed.push_back(static_cast<std::uint16_t>(row * kPadded +
                                                  static_cast<std::size_t>(std::countr_zero(waiting[row]))));
  std::sort(listed.begin() + rest, listed.end(), [&](std::uint16_t a, std::uint16_t b) {
    return candidates.score[a] != candidates.score[b] ? candidates.score[a] > candidates.score[b] : a < b;
  });
  return listed;
}

// Avoids roots with two accidentals, Fb and B#.
NoteName readable_root(NoteName name) {
  if (name.fifths() < -7) return NoteName(name.fifths() + 12);
  if (name.fifths() > 11) return NoteName(name.fifths() - 12);
  return name;
}

}  // namespace

NoteName root_name_in(const Chord& chord, const std::optional<Key>& key) {
  const int home = key ? signature(*key) : 0;
  const QualityRow& made = row(chord.quality);
  // A diminished chord is spelled as the chord of a leading tone: C#, D#, F#, G# and B in C, never Db. The
  // same in A minor.
  if (made.family == Family::kDiminished || made.family == Family::kHalfDiminished)
    return readable_root(spell_within(chord.root, home - 2));
  // Names lie around the key signature; a minor key has its raised tones on the sharp side.
  const NoteName name = spell_within(chord.root, key && key->mode == Mode::kMinor ? home - 3 : home - 5);
  // Far from the tonic, the enharmonic name is often easier to read: F# minor instead of Gb minor, Ab instead
  // of G#. Dominants may be one fifth further away: in B, A#7 is the dominant of the third degree.
  const PitchClassSet tones = made.tones;
  const bool minor_third = tones.contains(PitchClass(3)) && !tones.contains(PitchClass(4));
  const int darkest = home < 0 ? -6 : -5;  // C# minor instead of Db minor, except in flat keys
  const int brightest = key && tones.contains(PitchClass(10)) ? home + 5 : home + 4;
  if (minor_third && name.fifths() <= darkest && name.fifths() < home - 1)
    return NoteName(name.fifths() + 12);
  if (!minor_third && name.fifths() >= 7 && name.fifths() > brightest) return NoteName(name.fifths() - 12);
  return readable_root(name);
}

void rank_alternatives(const Question& question, const Hands* hands, Alternatives& out,
                       const RankingTable& table) {
  out.clear();
  if (question.melody.empty()) return;
  const Terms terms(question, hands, table);
  Candidates candidates;
  make_scores(candidates, terms);
  if (question.variety) make_places(candidates, terms);
  add_wishes(candidates, question, terms.key);
  const auto listed = best_of(candidates, question.wishes != Wishes{});

  const Offered& known = offered();
  const auto& in_key = known.in_key[terms.key];
  ChordsBefore before;
  NoteName from;
  if (question.previous) {
    before.push_back(*question.previous);
    for (const Chord& earlier : question.earlier) before.push_back(earlier);
    from = root_name_in(*question.previous, question.key);
  }
  const std::span<const Pitch> on_top(question.melody.begin(),
                                      std::min(question.melody.size(), question.voiced));
  std::optional<Room> room_for_hands;
  if (hands) room_for_hands.emplace(kept_melody(on_top), *hands);
  for (const std::size_t at : listed) {
    Alternative made;
    const SlashChord* slash = at < kOverRoot ? nullptr : &candidates.slash[at - kOverRoot];
    const InKey& home = slash ? *slash->home : in_key[at];
    const PitchClass root(static_cast<int>(at / kPadded));
    made.chord = slash ? slash->chord : Chord{root, known.quality[at % kPadded], root};
    const Quality quality = made.chord.quality;
    made.root_name = home.root_name;
    for (Pitch note : question.melody) {
      const int interval = ascending(made.chord.root, note.pitch_class());
      made.degrees.push_back(degree_in(quality, interval));
    }
    made.score = candidates.score[at];
    made.dark_bright = home.colour.dark_bright;
    made.resolved_tense = home.colour.resolved_tense;
    made.familiar = candidates.familiar[at];
    made.tried = static_cast<std::uint8_t>(question.tried.times(made.chord));
    made.reason = reason_for(made.chord, question.key, before, from, question.liked.times(made.chord));
    if (hands) {
      auto styled =
          question.style == Style::kOpen ? std::nullopt : voice(made.chord, on_top, *hands, question.style);
      // Some styles leave the bass to another player. A slash chord without its bass is another chord.
      if (slash && styled && (styled->left.empty() || styled->left.front().pitch_class() != made.chord.bass))
        styled.reset();
      made.voicing = styled ? *styled : voice(made.chord, *room_for_hands);
    }
    out.push_back(made);
  }
}

}  // namespace undersong::harmony
