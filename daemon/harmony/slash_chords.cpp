#include "daemon/harmony/slash_chords.h"

#include <algorithm>
#include <cstdlib>
#include <memory>
#include <string_view>

#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/lanes.h"
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
    {"7", 4, 0.1f},        // C7/E
    {"7", 10, 0.1f},       // C7/Bb
    {"7", 7, 0},           // C7/G
    {"maj", 7, 0},         // C/G
    {"maj7", 11, -0.15f},  // Cmaj7/B
    {"min", 3, 0.1f},      // Am/C
    {"min7", 10, 0.1f},    // Am7/G
    {"min7", 7, 0},        // Am7/E
    {"min", 7, 0},         // Am/E
};
constexpr std::size_t kShapeCount = std::size(kShapes);

constexpr float kStays = 0.35f, kBassSteps = 0.4f, kTritoneLeap = -0.3f;  // of the bass
constexpr float kBassOutside = -0.8f;                                     // a bass outside the key
constexpr float kToneOutside = 0.2f;                                      // each tone outside the key
constexpr float kLessUsual = 4 / kFamiliarSpan;                           // than the chord over its root
constexpr float kRootAgain = -0.6f, kBassAgain = -0.3f, kShapeAgain = -0.5f;

static_assert(kShapeCount % kLane == 0, "whole vectors");
constexpr std::size_t kSlashes = 12 * kShapeCount;  // root * kShapeCount + shape

struct Known {
  std::array<Quality, kShapeCount> quality;
  std::array<std::uint8_t, kShapeCount> cls, family;
  std::array<bool, kShapeCount> inversion;  // the bass is a chord tone
  std::array<std::uint64_t, kShapeCount> same_as{};
  // [interval of a note above the root][shape]: the fit, as in Offered; the share of each tone; and kGone
  // where the note clashes, otherwise 0.
  std::array<std::array<float, kShapeCount>, 12> fit, tone{}, clash{};
  std::array<std::array<InKey, kSlashes>, 25> in_key;  // [key][root * kShapeCount + shape]
  std::array<std::array<float, kSlashes>, 25>
      liking;  // a member of in_key by itself, and a bass outside the key
};

void make_known(Known& made) {
  const Offered& rows = offered();
  for (std::size_t s = 0; s < kShapeCount; ++s) {
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
      const auto at = static_cast<std::size_t>(interval);
      made.fit[at][s] = tones.contains(PitchClass(interval)) ? kChordTone
                        : how == Role::kTension && !rubs     ? kTension
                                                             : kAvoid;
      if (made.fit[at][s] == kAvoid) made.clash[at][s] = kGone;
      if (tones.contains(PitchClass(interval))) made.tone[at][s] = 1.0f / static_cast<float>(tones.size());
    }
  }
  for (std::size_t k = 0; k < 25; ++k) {
    std::optional<Key> key;
    if (k < 24) key = Key{PitchClass(static_cast<int>(k)), k < 12 ? Mode::kMajor : Mode::kMinor};
    const PitchClassSet scale =
        key ? PitchClassSet(kMajorScale).transposed(7 * signature(*key)) : PitchClassSet(0xFFF);
    for (std::size_t r = 0; r < 12; ++r)
      for (std::size_t s = 0; s < kShapeCount; ++s) {
        const PitchClass root(static_cast<int>(r));
        const Chord chord{root, made.quality[s], transpose(root, kShapes[s].bass)};
        InKey& home = made.in_key[k][r * kShapeCount + s];
        home.root_name = root_name_in({root, chord.quality, root}, key);
        home.colour = colour(chord, key);
        home.tones = row(chord.quality).tones.transposed(root.value());
        home.tones.insert(chord.bass);
        home.outside = static_cast<std::uint8_t>((home.tones - scale).size());
        home.liking = kShapes[s].liking - kToneOutside * static_cast<float>(home.outside) +
                      (scale.contains(chord.bass) ? 0 : kBassOutside);
        made.liking[k][r * kShapeCount + s] = home.liking;
      }
  }
}

const Known& known() {
  static const std::unique_ptr<const Known> kKnown = [] {
    auto made = std::make_unique<Known>();
    make_known(*made);
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
    if (least == 1 || least == 2) out.foreign[at] = out.inversion[at] = kBassSteps;
    if (least == 6) out.foreign[at] = kTritoneLeap;
  }
  return out;
}

// The scores of all, without wishes.
UNDERSONG_WIDE void score_slashes(const Terms& terms, std::array<float, kSlashes>& score) {
  const Known& all = known();
  const Question& question = terms.question;
  const Motion moves = motion(question.previous);
  // Over a foreign bass the chord acts as one on that bass too: F/G as a suspended G.
  std::array<float, 12> on_bass;
  for (std::size_t bass = 0; bass < 12; ++bass)
    on_bass[bass] = std::max(terms.usual.triad[bass][kMajorTriad], terms.usual.triad[bass][kSuspendedTriad]);
  for (std::size_t r = 0; r < 12; ++r) {
    float* own = &score[r * kShapeCount];
    const auto& upper = terms.usual.triad[r];
    for (std::size_t s = 0; s < kShapeCount; ++s) {
      const std::size_t bass = (r + static_cast<std::size_t>(kShapes[s].bass)) % 12;
      const float usual = upper[triad_kind(static_cast<QualityClass>(all.cls[s]))];
      const float here = std::max(usual, 0.5f * (usual + on_bass[bass]));
      own[s] = all.inversion[s] ? moves.inversion[bass] + kUsualWeight * usual
                                : moves.foreign[bass] + kUsualWeight * here;
    }
    const float* liking = &all.liking[terms.key][r * kShapeCount];
    for (std::size_t s = 0; s < kShapeCount; s += kLane) store(own + s, load(own + s) + load(liking + s));
    terms.add_notes(r, all.fit, all.tone, own);
    for (const Pitch note : question.melody) {
      const auto& clash =
          all.clash[static_cast<std::size_t>(ascending(PitchClass(static_cast<int>(r)), note.pitch_class()))];
      for (std::size_t s = 0; s < kShapeCount; s += kLane) store(own + s, load(own + s) + load(&clash[s]));
    }
  }
}

UNDERSONG_WIDE std::size_t best_slash(const std::array<float, kSlashes>& score) {
  return greatest(score);
}

}  // namespace

void find_slash_chords(const Terms& terms, SlashChords& out) {
  out.clear();
  const Known& all = known();
  const Question& question = terms.question;
  std::array<float, kSlashes> score;
  score_slashes(terms, score);
  while (!out.full()) {
    const std::size_t at = best_slash(score);
    if (score[at] < kGone / 2) break;
    const float found = score[at];
    score[at] = kGone;
    const std::size_t r = at / kShapeCount, s = at % kShapeCount;
    SlashChord made;
    const PitchClass root(static_cast<int>(r));
    made.chord = {root, all.quality[s], transpose(root, kShapes[s].bass)};
    made.home = &all.in_key[terms.key][at];
    if (question.previous && *question.previous == made.chord) continue;
    if (std::any_of(out.begin(), out.end(), [&](const SlashChord& other) {
          return other.chord.bass == made.chord.bass && other.home->tones == made.home->tones;
        }))
      continue;  // the same chord by another name
    made.cls = all.cls[s];
    made.family = all.family[s];
    made.score = found;
    made.same_as = all.same_as[s];
    const float familiar = 1 + terms.usual.chord[r * kQualityClasses + made.cls] / kFamiliarSpan - kLessUsual;
    made.familiar = std::max(familiar, 0.0f);
    made.rests = true;
    for (const Pitch note : question.melody)
      made.rests &= kRests[made.cls] >> ascending(root, note.pitch_class()) & 1u;
    out.push_back(made);
    // Others like it fall.
    const auto bass = static_cast<std::size_t>(made.chord.bass.value());
    for (std::size_t i = 0; i < kShapeCount; ++i) {
      score[r * kShapeCount + i] += kRootAgain;
      score[(bass + 12 - static_cast<std::size_t>(kShapes[i].bass)) % 12 * kShapeCount + i] += kBassAgain;
    }
    for (std::size_t other = 0; other < 12; ++other) score[other * kShapeCount + s] += kShapeAgain;
  }
}

}  // namespace undersong::harmony
