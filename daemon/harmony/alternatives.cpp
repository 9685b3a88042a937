// Over 400 lines: every step of the ranking works on the same private arrays of candidates, once for each
// list.
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
#include "daemon/harmony/voicing_search.h"

namespace undersong::harmony {
namespace {

// The weights of the ranking. Scores of the learnt table are natural logarithms. Common practice, no source.
constexpr float kFitWeight = 1.5f, kOlderNote = 0.7f;
constexpr float kAvoided = -60;  // the held note clashes: such a chord is offered only at the familiar end
constexpr float kUsualWeight = 0.35f;  // by root and triad
constexpr float kUsualFloor = -8;
constexpr float kHandsWeight = 0.12f;  // per semitone of motion, averaged over the tones
constexpr float kSameChord = -6;       // the current chord is not an alternative to itself
constexpr float kLikedWeight = 0.3f;
constexpr float kBrightWeight = 40, kTenseWeight = 80;  // of a full wish
constexpr float kFamiliarSpan = 12;  // natural logarithms from 1 to 0 on the familiar scale
constexpr float kPlainness = 5;  // price of a rarer name within its class at the familiar end, in logarithms
constexpr float kNewRoot = 4, kNewCell = 8, kAlike = 1.0f, kStepOfPlace = 0.02f;
constexpr float kWaits = -1000;  // below every other score
constexpr std::size_t kByScore = 3, kByVariety = 9;

// The weight of the familiar scale. It falls steadily as the wish for surprise grows, so that the list moves
// in one direction, and it is by far the greatest at the familiar end.
float familiar_weight(float surprising) {
  if (surprising >= 0) return -7 * surprising;
  const float square = surprising * surprising;
  return 7 * -surprising + 6000 * square * square;
}

// A small wish leans the list; a full one puts the scale before everything but how the melody fits.
float wish_weight(float wish) {
  return wish * (0.2f + 0.8f * wish * wish);
}

struct Candidate {
  float score = 0;
  float familiar = 0;
  std::uint8_t root = 0;
  std::uint8_t index = 0;  // index of the quality among those offered
};

// The distance of each pitch class from the hands, or without hands from the tones of the current chord. Sums
// over a set of tones take two table look-ups.
class Way {
 public:
  Way(const Hands* hands, const std::optional<Chord>& previous) {
    std::array<int, 12> way{};
    if (hands) {
      way.fill(127);
      for (int key = 36; key < 84; ++key) {
        int& least = way[static_cast<std::size_t>(key % 12)];
        least = std::min(least, hands->way(key));
      }
    } else if (previous) {
      const PitchClassSet tones = row(previous->quality).tones.transposed(previous->root.value());
      for (int pc = 0; pc < 12; ++pc) {
        int distance = 0;
        while (distance < 6 && !tones.contains(PitchClass(pc + distance)) &&
               !tones.contains(PitchClass(pc - distance)))
          ++distance;
        way[static_cast<std::size_t>(pc)] = distance;
      }
    }
    for (std::size_t bits = 1; bits < 64; ++bits) {
      const auto bit = static_cast<std::size_t>(std::countr_zero(bits));
      low_[bits] = low_[bits & (bits - 1)] + static_cast<float>(std::min(way[bit], 7));
      high_[bits] = high_[bits & (bits - 1)] + static_cast<float>(std::min(way[bit + 6], 7));
    }
  }
  float to(PitchClassSet tones) const { return low_[tones.bits() & 63u] + high_[tones.bits() >> 6]; }

 private:
  std::array<float, 64> low_{}, high_{};
};

Phrase asked_phrase(const Question& question) {
  Phrase phrase = question.phrase;
  if (phrase.empty())
    for (std::size_t i = question.melody.size(); i-- > 0;) phrase.add(question.melody[i].pitch_class(), 1);
  phrase.held = question.melody[0].pitch_class();
  return phrase;
}

// How usual each chord is, and each root with each kind of triad, as logarithms; 0 for the most usual.
struct Usual {
  ChordScores chord;
  std::array<std::array<float, kTriads>, 12> triad;

  explicit Usual(const Question& question, const Phrase& phrase, const RankingTable& table) {
    ChordsBefore before;
    if (question.previous) {
      before.push_back(*question.previous);
      for (const Chord& earlier : question.earlier) before.push_back(earlier);
    }
    usual_chords(phrase, question.key, before, question.take, table, chord, question.lean);
    if (question.previous) {
      const auto cls = quality_class(question.previous->quality);
      if (cls != QualityClass::kNone)
        chord[static_cast<std::size_t>(question.previous->root.value()) * kQualityClasses +
              static_cast<std::size_t>(cls)] += kSameChord;
    }
    const float most = *std::max_element(chord.begin(), chord.end());
    for (float& value : chord) value -= most;
    for (std::size_t r = 0; r < 12; ++r) {
      auto& own = triad[r];
      own.fill(kUsualFloor);
      for (std::size_t q = 0; q < kQualityClasses; ++q) {
        float& best = own[triad_kind(static_cast<QualityClass>(q))];
        best = std::max(best, chord[r * kQualityClasses + q]);
      }
      // A suspension or an augmented fifth can replace its plain chord anywhere; the songs that the table was
      // learnt from hardly have any.
      const float plain = own[kMajorTriad] - 0.5f;
      own[kSuspendedTriad] = std::max(own[kSuspendedTriad], plain);
      own[kAugmentedTriad] = std::max(own[kAugmentedTriad], plain - 0.5f);
    }
  }
};

// Kinds of triad that can replace each other: suspended and augmented chords count as major.
constexpr std::uint8_t kind_of(std::size_t cls) {
  const TriadKind triad = triad_kind(static_cast<QualityClass>(cls));
  return triad == kMinorTriad ? 1 : triad == kDiminishedTriad ? 2 : 0;
}

constexpr float kGone = -1e30f;  // the score of an absent candidate

// The candidates: every offered quality on every root. The array of scores is padded to whole SIMD lanes.
constexpr std::size_t kCandidates = 12 * kOfferedCount;
struct Candidates {
  Candidates() { std::fill(score.begin() + kCandidates, score.end(), kGone); }
  std::array<float, (kCandidates + kLane - 1) / kLane * kLane> score;  // without wishes, then with
  std::array<float, kCandidates> familiar;                             // 0..1
  std::array<bool, kCandidates> clashes;                               // with the held notes
  std::array<bool, kCandidates> kept;  // a combination always offered, or the best of its root
};

// The index of the greatest element, the first among equals. N is a multiple of kLane.
template <std::size_t N>
[[gnu::always_inline]] inline std::size_t greatest(const std::array<float, N>& of) {
  Lane most = load(of.data());
  for (std::size_t i = kLane; i < N; i += kLane) {
    const Lane here = load(&of[i]);
    most = here > most ? here : most;
  }
  float top = most[0];
  for (std::size_t i = 1; i < kLane; ++i) top = most[i] > top ? most[i] : top;
  std::size_t at = 0;
  while (of[at] != top) ++at;
  return at;
}

// Assigns places 1 to 3 by score, one for each root and kind, and places 4 to 12 for variety. Changes the
// scores so that without wishes they give this order.
UNDERSONG_WIDE void make_places(Candidates& candidates, const Question& question, const Offered& offered,
                                std::size_t key) {
  constexpr std::size_t kPlaces = kByScore + kByVariety;
  const std::size_t held = static_cast<std::size_t>(question.melody[0].pitch_class().value());
  // The best of each root and class, padded to whole SIMD lanes.
  constexpr std::size_t kPool = (kTableChords + kLane - 1) / kLane * kLane;
  std::array<std::uint16_t, kPool> best{};
  std::array<float, kPool> score;
  score.fill(kGone);
  for (std::size_t r = 0, i = 0; r < 12; ++r)
    for (std::size_t q = 0; q < kOfferedCount; ++q, ++i) {
      const std::size_t c = r * kQualityClasses + offered.cls[q];
      const bool higher = candidates.score[i] > score[c];  // unpredictable, so selected without a branch
      score[c] = higher ? candidates.score[i] : score[c];
      best[c] = higher ? static_cast<std::uint16_t>(i) : best[c];
    }
  const auto& cell = offered.cell[key][held];
  std::size_t previous = kTableChords;
  if (question.previous && quality_class(question.previous->quality) != QualityClass::kNone)
    previous = static_cast<std::size_t>(question.previous->root.value()) * kQualityClasses +
               static_cast<std::size_t>(quality_class(question.previous->quality));

  FixedVector<std::uint16_t, kPlaces> chosen;  // root and class
  for (std::array<float, kPool> left = score; chosen.size() < kByScore;) {
    const std::size_t first = greatest(left);
    if (left[first] <= kGone) break;
    chosen.push_back(static_cast<std::uint16_t>(first));
    // Others with its root and kind wait for a place for variety.
    const std::size_t root = first / kQualityClasses, kind = kind_of(first % kQualityClasses);
    for (std::size_t q = 0; q < kQualityClasses; ++q)
      if (kind_of(q) == kind && left[root * kQualityClasses + q] > kGone)
        left[root * kQualityClasses + q] += kWaits;
    left[first] = kGone;
  }
  // Variety: only chords in which the held note is at rest, and not the current chord.
  std::array<float, kPool> fits, new_root, new_cell;
  fits.fill(kGone), new_root.fill(kNewRoot), new_cell.fill(kNewCell);
  for (std::size_t r = 0, c = 0; r < 12; ++r)
    for (std::size_t q = 0; q < kQualityClasses; ++q, ++c) {
      const bool rests = kRests[q] >> ((held + 12 - r) % 12) & 1u;
      fits[c] = rests && score[c] > kAvoided / 12 ? score[c] : kGone;
    }
  if (previous < kTableChords) fits[previous] = kGone;
  const auto taken = [&](std::size_t c) {
    fits[c] = kGone;
    std::fill_n(&new_root[c / kQualityClasses * kQualityClasses], kQualityClasses, 0.0f);
    if (new_cell[c] == 0) return;
    for (std::size_t i = 0; i < kTableChords; ++i) new_cell[i] = cell[i] == cell[c] ? 0.0f : new_cell[i];
  };
  for (const std::size_t c : chosen) taken(c);
  while (!chosen.full()) {
    std::array<float, kPool> value;
    for (std::size_t i = 0; i < kPool; i += kLane)
      store(&value[i], load(&fits[i]) + load(&new_root[i]) + load(&new_cell[i]));
    const std::size_t first = greatest(value);
    if (fits[first] <= kGone) break;
    chosen.push_back(static_cast<std::uint16_t>(first));
    taken(first);
  }
  // Lower the chords that resemble a chosen one. The chosen ones go above all others, in their order.
  std::array<float, kPlaces> of_chosen;
  for (std::size_t i = 0; i < chosen.size(); ++i) {
    const std::size_t c = chosen[i], root = c / kQualityClasses, cls = c % kQualityClasses;
    of_chosen[i] = candidates.score[best[c]];
    float* own = &candidates.score[root * kOfferedCount];
    for (std::size_t q = 0; q < kOfferedCount; ++q) own[q] -= offered.cls[q] == cls ? kAlike : 0;
  }
  for (const std::size_t c : chosen) candidates.score[best[c]] = kGone;
  float place = candidates.score[greatest(candidates.score)];
  for (std::size_t i = chosen.size(); i-- > 0;)
    candidates.score[best[chosen[i]]] = place = std::max(of_chosen[i], place + kStepOfPlace);
}

}  // namespace

namespace {

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
  const Offered& known = offered();
  const std::size_t key = Offered::key_index(question.key);
  const auto& in_key = known.in_key[key];
  const Phrase phrase = asked_phrase(question);
  const Usual usual(question, phrase, table);
  const Way way(hands, question.previous);
  std::array<float, 12> share;
  for (std::size_t pc = 0; pc < 12; ++pc) share[pc] = phrase.weight[pc] / std::max(phrase.total(), 1e-6f);

  Candidates candidates;
  for (std::size_t r = 0; r < 12; ++r) {
    const PitchClass root(static_cast<int>(r));
    FixedVector<std::size_t, kMelodyNotes> intervals;
    for (Pitch note : question.melody)
      intervals.push_back(static_cast<std::size_t>(ascending(root, note.pitch_class())));
    const bool single = intervals.size() == 1;
    // How the melody fits each quality: half from the held notes, of which the newest counts most, half from
    // the phrase.
    std::array<float, kPadded> holds = known.fit[intervals[0]], sits{};
    if (!single)
      for (std::size_t i = 0; i < kPadded; ++i)
        holds[i] = (holds[i] + kOlderNote * known.fit[intervals[1]][i]) * (1 / (1 + kOlderNote));
    for (std::size_t pc = 0; pc < 12; ++pc)
      if (share[pc] > 0)
        for (std::size_t i = 0; i < kPadded; ++i) sits[i] += share[pc] * known.fit[(pc + 12 - r) % 12][i];
    for (std::size_t i = 0; i < kPadded; ++i) sits[i] = kFitWeight * 0.5f * (holds[i] + sits[i]);
    std::array<float, kQualityClasses> usual_class, usual_triad;
    for (std::size_t q = 0; q < kQualityClasses; ++q) {
      usual_class[q] = 1 + usual.chord[r * kQualityClasses + q] / kFamiliarSpan;
      usual_triad[q] = kUsualWeight * usual.triad[r][triad_kind(static_cast<QualityClass>(q))];
    }
    const auto& promised = known.promised[intervals[0]];
    for (std::size_t i = 0; i < kOfferedCount; ++i) {
      const std::size_t at = r * kOfferedCount + i;
      const InKey& home = in_key[at];
      const bool kept = single && promised[i];
      const std::size_t cls = known.cls[i];
      const float familiar = usual_class[cls] - kPlainness / kFamiliarSpan * known.rarer[i];
      candidates.kept[at] = kept;
      candidates.familiar[at] = familiar > 0 ? familiar : 0;  // selected without a branch; never above 1
      const float score =
          sits[i] + home.liking + usual_triad[cls] - kHandsWeight * way.to(home.tones) * known.per_tone[i];
      candidates.score[at] = score + (holds[i] < kWorstFit && !kept ? kAvoided : 0.0f);
    }
    if (question.previous && question.previous->root == root)
      for (std::size_t i = 0; i < kOfferedCount; ++i)
        if (question.previous->quality == known.quality[i])
          candidates.score[r * kOfferedCount + i] += kSameChord;
  }
  if (question.variety) make_places(candidates, question, known, key);

  const float familiar = familiar_weight(question.wishes.surprising);
  const float bright = kBrightWeight * wish_weight(question.wishes.brighter),
              tense = kTenseWeight * wish_weight(question.wishes.tenser);
  const bool wished = familiar != 0 || bright != 0 || tense != 0;
  for (std::size_t r = 0, at = 0; r < 12; ++r) {
    std::size_t best_of_root = at;
    float best_score = kGone;
    const auto& liked = question.liked.of(PitchClass(static_cast<int>(r)));
    const bool any_liked = std::any_of(liked.begin(), liked.end(), [](auto times) { return times > 0; });
    for (std::size_t i = 0; i < kOfferedCount; ++i, ++at) {
      if (any_liked) candidates.score[at] += kLikedWeight * static_cast<float>(liked[known.family[i]]);
      if (wished)
        candidates.score[at] += familiar * candidates.familiar[at] + bright * in_key[at].colour.dark_bright +
                                tense * in_key[at].colour.resolved_tense;
      const float score = candidates.score[at];
      best_of_root = score > best_score ? at : best_of_root;
      best_score = score > best_score ? score : best_score;
    }
    candidates.kept[best_of_root] = true;
  }
  // Candidates that are kept always get in; the best of the others fill the rest of the list. After the first
  // few, hardly any get in, so keeping the others sorted is cheaper than selecting from all.
  const auto at_place = [&](std::size_t at) {
    return Candidate{candidates.score[at], candidates.familiar[at],
                     static_cast<std::uint8_t>(at / kOfferedCount),
                     static_cast<std::uint8_t>(at % kOfferedCount)};
  };
  FixedVector<Candidate, kMaxAlternatives> listed, others;
  for (std::size_t at = 0; at < kCandidates; ++at)
    if (candidates.kept[at]) listed.push_back(at_place(at));
  const std::size_t room = kMaxAlternatives - listed.size();
  float least = kGone;  // a candidate must exceed this to get in
  for (std::size_t at = 0; at < kCandidates && room > 0; ++at) {
    // Candidates come in the order that decides between equal scores.
    if (!(candidates.score[at] > least) || candidates.kept[at]) continue;
    const Candidate made = at_place(at);
    std::size_t place = others.size();
    while (place > 0 && made.score > others[place - 1].score) --place;
    if (others.size() == room) others.pop_back();
    others.insert(place, made);
    if (others.size() == room) least = others.back().score;
  }
  for (const Candidate& made : others) listed.push_back(made);
  std::sort(listed.begin(), listed.end(), [](const Candidate& a, const Candidate& b) {
    if (a.score != b.score) return a.score > b.score;
    return a.root != b.root ? a.root < b.root : a.index < b.index;
  });

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
  for (const Candidate& candidate : listed) {
    Alternative made;
    const Quality quality = known.quality[candidate.index];
    const InKey& home = in_key[candidate.root * kOfferedCount + candidate.index];
    made.chord = {PitchClass(candidate.root), quality, PitchClass(candidate.root)};
    made.root_name = home.root_name;
    for (Pitch note : question.melody) {
      const int interval = ascending(made.chord.root, note.pitch_class());
      made.degrees.push_back(degree_in(quality, interval));
    }
    made.score = candidate.score;
    made.dark_bright = home.colour.dark_bright;
    made.resolved_tense = home.colour.resolved_tense;
    made.familiar = candidate.familiar;
    made.tried = question.tried.contains(made.chord);
    made.reason = reason_for(made.chord, question.key, before, from, question.liked.times(made.chord));
    if (hands) {
      const auto styled =
          question.style == Style::kOpen ? std::nullopt : voice(made.chord, on_top, *hands, question.style);
      made.voicing = styled ? *styled : voice(made.chord, *room_for_hands);
    }
    out.push_back(made);
  }
}

}  // namespace undersong::harmony
