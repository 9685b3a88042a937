#include "daemon/harmony/ranking_terms.h"

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/player_memory.h"

namespace undersong::harmony {
namespace {

constexpr float kUsualFloor = -8;

Phrase asked_phrase(const Question& question) {
  Phrase phrase = question.phrase;
  if (phrase.empty())
    for (std::size_t i = question.melody.size(); i-- > 0;) phrase.add(question.melody[i].pitch_class(), 1);
  phrase.held = question.melody[0].pitch_class();
  return phrase;
}

std::array<float, 12> way_of(const Hands* hands, const std::optional<Chord>& previous) {
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
  std::array<float, 12> out;
  for (std::size_t pc = 0; pc < 12; ++pc) out[pc] = static_cast<float>(std::min(way[pc], 7));
  return out;
}

}  // namespace

Usual::Usual(const Question& question, const Phrase& phrase, const RankingTable& table) {
  ChordsBefore before;
  if (question.previous) {
    before.push_back(*question.previous);
    for (const Chord& earlier : question.earlier) before.push_back(earlier);
  }
  usual_chords(phrase, question.key, before, question.take, table, chord, question.lean);
  if (question.player && question.key)
    question.player->add_scores(PitchClass(7 * signature(*question.key)), before, phrase.held,
                                question.lean_own ? PlayerMemory::kLean : 1, chord);
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

Terms::Terms(const Question& asked, const Hands* hands, const RankingTable& table)
    : question(asked),
      key(Offered::key_index(asked.key)),
      phrase(asked_phrase(asked)),
      usual(asked, phrase, table),
      way(way_of(hands, asked.previous)) {
  const float total = std::max(phrase.total(), 1e-6f);
  for (std::size_t pc = 0; pc < 12; ++pc) {
    share[pc] = phrase.weight[pc] / total;
    weight_[pc] = kFitWeight * 0.5f * share[pc];
  }
  const bool two = asked.melody.size() > 1;
  for (std::size_t i = 0; i < asked.melody.size(); ++i)
    weight_[static_cast<std::size_t>(asked.melody[i].pitch_class().value())] +=
        kFitWeight * 0.5f * (i == 0 ? 1 : kOlderNote) / (two ? 1 + kOlderNote : 1);
}

}  // namespace undersong::harmony
