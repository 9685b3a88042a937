#include "daemon/harmony/colour_terms.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "daemon/harmony/chord_set.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/harmonicity.h"
#include "daemon/harmony/roughness.h"
#include "daemon/harmony/tonal_space.h"
#include "daemon/harmony/voice_leading.h"

namespace undersong::harmony {
namespace {

constexpr int kBass = 52;         // of chords in close position
constexpr float kUnknown = 8.5f;  // unfamiliarity above which chords are equally strange

// notes^0.7
constexpr std::array<float, kMostKeysHeard + 1> kNotesPower{
    0,       1,       1.6245f, 2.1577f, 2.6390f, 3.0852f, 3.5051f, 3.9045f, 4.2871f,
    4.6555f, 5.0119f, 5.3577f, 5.6943f, 6.0226f, 6.3433f, 6.6571f, 6.9644f};

}  // namespace

ColourTerms colour_terms(std::span<const Pitch> keys, std::optional<PitchClass> root,
                         const std::optional<Key>& key, std::span<const Pitch> previous) {
  ColourTerms out;
  FixedVector<Pitch, kMostKeysHeard> notes;
  PitchClassSet tones;
  for (Pitch note : keys) {
    std::size_t at = 0;
    while (at < notes.size() && notes[at] < note) ++at;
    if (at < notes.size() && notes[at] == note) continue;
    if (notes.insert(at, note)) tones.insert(note.pitch_class());
  }
  if (notes.empty()) return out;
  const std::span<const Pitch> sounding{notes.begin(), notes.size()};
  const auto count = static_cast<float>(notes.size());

  const PairRoughness rough = pair_roughness(sounding);
  out.mean_roughness = std::sqrt(std::max(0.0f, rough.mean));
  out.worst_roughness = rough.worst;
  out.periodicity = log_periodicity(sounding) / kNotesPower[notes.size()];

  const ChordSet& set = chord_set(tones);
  out.unfamiliarity = std::min(set.unfamiliarity, kUnknown);
  out.outside = set.outside;
  out.fifth = set.fifth ? 1.0f : 0.0f;
  out.key_fit = set.key_fit;
  out.triads = set.triads;

  const PitchClass bottom = root ? *root : likely_root(tones, notes[0].pitch_class());
  out.fifths = mean_fifths(tones, bottom);
  out.tritones = std::min(static_cast<float>((tones & tones.transposed(6)).size()) / 2, 2.0f);
  out.seventh = tones.size() > 3 ? 1.0f : 0.0f;
  float sum = 0;
  for (Pitch note : notes) sum += static_cast<float>(note.value());
  out.height = (sum / count - 60) / 12;

  if (key) {
    out.root_stability = stability(bottom, *key);
    const SetStability stable = stability(tones, *key);
    out.least_stability = stable.least;
    out.mean_stability = stable.mean;
    out.distance = static_cast<float>(distance_from_tonic(tones, bottom, *key));
    out.place = mean_place(tones, key->tonic);
  }
  if (!previous.empty())
    out.motion = static_cast<float>(voice_leading_distance(previous, sounding)) /
                 static_cast<float>(std::max(previous.size(), notes.size()));
  return out;
}

CloseKeys close_position(const Chord& chord) {
  const QualityRow& made = row(chord.quality);
  CloseKeys keys;
  keys.push_back(Pitch(kBass));
  for (int i = 1; i < 12; ++i)
    if (made.tones.contains(PitchClass(chord.bass.value() + i - chord.root.value())))
      keys.push_back(Pitch(kBass + i));
  // Ninths and higher tensions lie an octave up, as they are played.
  for (Degree degree : made.degrees)
    if (degree.number > 7)
      for (Pitch& note : keys)
        if (note != keys[0] &&
            (note.value() - kBass + chord.bass.value() - chord.root.value() - semitones(degree)) % 12 == 0)
          note = Pitch(note.value() + 12);
  return keys;
}

ColourTerms colour_terms(const Chord& chord, const std::optional<Key>& key) {
  const CloseKeys keys = close_position(chord);
  // Move the key along with the chord.
  const int moved = kBass - chord.bass.value();
  std::optional<Key> moved_key = key;
  if (moved_key) moved_key->tonic = transpose(moved_key->tonic, moved);
  ColourTerms out = colour_terms({keys.begin(), keys.size()}, transpose(chord.root, moved), moved_key, {});
  out.height = 0;
  return out;
}

}  // namespace undersong::harmony
