#include "daemon/harmony/slash_chords.h"

#include <algorithm>
#include <cstdlib>
#include <memory>
#include <string_view>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/scales.h"

namespace undersong::harmony {
namespace {

// The upper chord, its bass in semitones above the root, and how rewarding the sound is.
struct Shape {
  std::string_view harte;
  int bass;
  float liking;
};
constexpr Shape kShapes[] = {
    {"maj", 2, 0.5f},      // F/G
    {"maj", 10, 0.4f},     // D/C
    {"maj", 5, 0.15f},     // C/F
    {"maj", 8, -0.15f},    // E/C
    {"maj", 11, -0.35f},   // Db/C
    {"maj", 6, -0.5f},     // F#/C
    {"maj", 1, -0.5f},     // B/C
    {"min", 5, -0.05f},    // Dm/G
    {"min", 10, 0.1f},     // Am/G
    {"min", 2, 0},         // Am/B
    {"min", 11, -0.2f},    // Am/G#
    {"dim7", 1, -0.3f},    // Bdim7/C
    {"maj", 4, 0.2f},      // C/E
    {"maj(9)", 4, 0.2f},   // Cadd9/E
    {"maj7", 4, 0.05f},    // Cmaj7/E
    {"7", 4, 0.2f},        // C7/E
    {"7", 10, 0.1f},       // C7/Bb
    {"7", 7, 0},           // C7/G
    {"maj", 7, 0},         // C/G
    {"maj7", 11, -0.15f},  // Cmaj7/B
    {"min", 3, 0.1f},      // Am/C
    {"min7", 10, 0.1f},    // Am7/G
    {"min7", 7, 0},        // Am7/E
    {"min", 7, 0},         // Am/E
};
constexpr std::size_t kCount = std::size(kShapes);

constexpr float kStays = 0.35f, kSteps = 0.4f, kTritoneLeap = -0.3f;  // of the bass
constexpr float kBassOutside = -0.8f;                                 // a bass outside the key
constexpr float kToneOutside = 0.2f;  // each tone outside the key
constexpr float kLessUsual = 1.5f / kFamiliarSpan;                    // than the chord over its root
constexpr float kSameRoot = -0.6f, kSameBass = -0.3f, kSameShape = -0.5f;

struct Known {
  std::array<Quality, kCount> quality;
  std::array<std::uint8_t, kCount> cls, family;
  std::array<bool, kCount> inversion;  // the bass is a chord tone
  std::array<std::uint64_t, kCount> same_as{};
  std::array<std::array<float, kCount>, 12> fit;          // [interval of a note above the root]
  std::array<std::array<InKey, 12 * kCount>, 25> in_key;  // [key][root * kCount + shape]
  std::array<std::array<float, 12>, 25> bass_outside{};   // [key][bass]
};

void fill(Known& made) {
  const Offered& rows = offered();
  for (std::size_t s = 0; s < kCount; ++s) {
    const Quality upper = made.quality[s] = quality(kShapes[s].harte);
    const PitchClass bass(kShapes[s].bass);
    made.cls[s] = static_cast<std::uint8_t>(quality_class(upper));
    made.family[s] = static_cast<std::uint8_t>(row(upper).family);
    made.inversion[s] = row(upper).tones.contains(bass);
    PitchClassSet tones = row(upper).tones;
    tones.insert(bass);
    const PitchClassSet over_bass = tones.relative_to(bass);
    for (std::size_t i = 0; i < kOfferedCount; ++i) {
      const QualityRow& other = row(rows.quality[i]);
      if ((over_bass - other.tones).empty() && (other.essential - over_bass).empty())
        made.same_as[s] |= std::uint64_t{1} << i;
    }
    for (int interval = 0; interval < 12; ++interval) {
      const Role how = role(upper, interval);
      const bool rubs = (interval + 12 - kShapes[s].bass) % 12 == 1;  // a semitone above the bass
      made.fit[static_cast<std::size_t>(interval)][s] = tones.contains(PitchClass(interval)) ? kChordTone
                                                        : how == Role::kTension && !rubs     ? kTension
                                                                                             : kAvoid;
    }
  }
  for (std::size_t k = 0; k < 25; ++k) {
    std::optional<Key> key;
    if (k < 24) key = Key{PitchClass(static_cast<int>(k)), k < 12 ? Mode::kMajor : Mode::kMinor};
    const PitchClassSet scale =
        key ? PitchClassSet(kMajorScale).transposed(7 * signature(*key)) : PitchClassSet(0xFFF);
    for (int bass = 0; bass < 12; ++bass)
      made.bass_outside[k][static_cast<std::size_t>(bass)] =
          scale.contains(PitchClass(bass)) ? 0.0f : kBassOutside;
    for (std::size_t r = 0; r < 12; ++r)
      for (std::size_t s = 0; s < kCount; ++s) {
        const PitchClass root(static_cast<int>(r));
        const Chord chord{root, made.quality[s], transpose(root, kShapes[s].bass)};
        InKey& home = made.in_key[k][r * kCount + s];
        home.root_name = root_name_in({root, chord.quality, root}, key);
        home.colour = colour(chord, home.root_name, key);
        home.tones = row(chord.quality).tones.transposed(root.value());
        home.tones.insert(chord.bass);
        home.outside = static_cast<std::uint8_t>((home.tones - scale).size());
        home.liking = kShapes[s].liking - kToneOutside * static_cast<float>(home.outside);
      }
  }
}

const Known& known() {
  static const std::unique_ptr<const Known> kKnown = [] {
    auto made = std::make_unique<Known>();
    fill(*made);
    return made;
  }();
  return *kKnown;
}

// What moving the bass there is worth, by interval from the bass in force; kGone for inversions that leap.
struct Motion {
  std::array<float, 12> foreign{}, inversion;
};
Motion motion(const std::optional<Chord>& previous) {
  Motion out;
  out.inversion.fill(kGone);
  if (!previous) return out;
  for (int bass = 0; bass < 12; ++bass) {
    const int up = ascending(previous->bass, PitchClass(bass)), least = std::min(up, 12 - up);
    const auto at = static_cast<std::size_t>(bass);
    if (least == 0) out.foreign[at] = out.inversion[at] = kStays;
    if (least == 1 || least == 2) out.foreign[at] = out.inversion[at] = kSteps;
    if (least == 6) out.foreign[at] = kTritoneLeap;
  }
  return out;
}

}  // namespace

void find_slash_chords(const Terms& terms, SlashChords& out) {
  out.clear();
  const Known& all = known();
  const Question& question = terms.question;
  const Motion moves = motion(question.previous);
  struct Found {
    float score = kGone;
    std::uint8_t root = 0, shape = 0;
  };
  // Over a foreign bass the chord acts as one on that bass too: F/G as a suspended G.
  std::array<float, 12> on_bass;
  for (std::size_t bass = 0; bass < 12; ++bass)
    on_bass[bass] = std::max(terms.usual.triad[bass][kMajorTriad], terms.usual.triad[bass][kSuspendedTriad]);
  // Only the best few can be chosen, so the rest are dropped at once.
  FixedVector<Found, 24> best;  // highest first
  for (std::size_t r = 0; r < 12; ++r) {
    const PitchClass root(static_cast<int>(r));
    const auto above = [&](std::size_t pc) { return (pc + 12 - r) % 12; };
    std::array<float, kCount> sits{},
        holds = all.fit[above(static_cast<std::size_t>(terms.phrase.held.value()))], worst = holds;
    if (question.melody.size() > 1) {
      const auto& older = all.fit[above(static_cast<std::size_t>(question.melody[1].pitch_class().value()))];
      for (std::size_t s = 0; s < kCount; ++s) {
        holds[s] = (holds[s] + kOlderNote * older[s]) * (1 / (1 + kOlderNote));
        worst[s] = std::min(worst[s], older[s]);
      }
    }
    for (std::size_t pc = 0; pc < 12; ++pc)
      if (terms.share[pc] > 0)
        for (std::size_t s = 0; s < kCount; ++s) sits[s] += terms.share[pc] * all.fit[above(pc)][s];
    for (std::size_t s = 0; s < kCount; ++s) {
      if (worst[s] == kAvoid) continue;
      const InKey& home = all.in_key[terms.key][r * kCount + s];
      const std::size_t bass = (r + static_cast<std::size_t>(kShapes[s].bass)) % 12;
      const float moved = (all.inversion[s] ? moves.inversion : moves.foreign)[bass];
      const auto& upper = terms.usual.triad[r];
      const float usual = upper[triad_kind(static_cast<QualityClass>(all.cls[s]))];
      const float usual_here = all.inversion[s] ? usual : std::max(usual, 0.5f * (usual + on_bass[bass]));
      const float score = kFitWeight * 0.5f * (holds[s] + sits[s]) + home.liking + moved +
                          all.bass_outside[terms.key][bass] + kUsualWeight * usual_here -
                          kHandsWeight * terms.way.to(home.tones) / static_cast<float>(home.tones.size());
      if (best.full() && score <= best.back().score) continue;
      if (question.previous && question.previous->root == root &&
          question.previous->quality == all.quality[s] &&
          question.previous->bass.value() == static_cast<int>(bass))
        continue;  // the chord in force itself
      if (score < kGone / 2) continue;
      std::size_t at = best.size();
      while (at > 0 && best[at - 1].score < score) --at;
      if (best.full()) best.pop_back();
      best.insert(at, {score, static_cast<std::uint8_t>(r), static_cast<std::uint8_t>(s)});
    }
  }
  while (!out.full() && !best.empty()) {
    std::size_t top = 0;
    for (std::size_t i = 1; i < best.size(); ++i)
      if (best[i].score > best[top].score) top = i;
    const Found found = best[top];
    best.erase(top);
    const std::size_t r = found.root, s = found.shape;
    SlashChord made;
    const PitchClass root(static_cast<int>(r));
    made.chord = {root, all.quality[s], transpose(root, kShapes[s].bass)};
    made.home = &all.in_key[terms.key][r * kCount + s];
    if (std::any_of(out.begin(), out.end(), [&](const SlashChord& other) {
          return other.chord.bass == made.chord.bass && other.home->tones == made.home->tones;
        }))
      continue;  // the same chord by another name
    made.cls = all.cls[s];
    made.family = all.family[s];
    made.score = found.score;
    made.same_as = all.same_as[s];
    const float familiar = 1 + terms.usual.chord[r * kQualityClasses + made.cls] / kFamiliarSpan - kLessUsual;
    made.familiar = std::max(familiar, 0.0f);
    made.rests = true;
    for (const Pitch note : question.melody)
      made.rests &= kRests[made.cls] >> ascending(root, note.pitch_class()) & 1u;
    out.push_back(made);
    for (Found& other : best) {
      const bool same_bass = (other.root + kShapes[other.shape].bass) % 12 == made.chord.bass.value();
      other.score += (other.root == found.root ? kSameRoot : 0) + (same_bass ? kSameBass : 0) +
                     (other.shape == found.shape ? kSameShape : 0);
    }
  }
}

}  // namespace undersong::harmony
