// The static reading: what chord is this set of notes, as a ranked list of names.
//
// Every root and row of the vocabulary is priced: tones that sound but don't belong, tones that belong but
// don't sound, a bass other than the root, a missing root, rarity of the name; what the key and the previous
// chord make likely is cheaper. The cheapest is named first. Prices are common practice, no source. Pure; no
// allocation; a few microseconds.
#pragma once

#include <optional>
#include <span>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/pitch.h"
#include "daemon/harmony/pitch_class_set.h"

namespace undersong::harmony {

struct ChordReading {
  Chord chord;
  float confidence = 0;  // 0..1; those of one list sum to at most 1
  float price = 0;       // in the units of recogniser.cpp; of one list the first has the least
};
inline constexpr std::size_t kMaxReadings = 5;
using ChordReadings = FixedVector<ChordReading, kMaxReadings>;

// What breaks ties between names that fit the notes.
struct Context {
  std::optional<Key> key;
  std::optional<Chord> previous;
  // What the ear makes of the music: log-probability of each root x class (ear_classes.h), 12 * kEarClasses
  // of them. Empty: nothing is known.
  std::span<const float> heard = {};
  // Only names that promise no tone that doesn't sound, but for the root and the perfect fifth.
  bool sounding_only = false;
};

// `notes`: the sounding keys, lowest first, repeats allowed. Fewer than two pitch classes give no reading.
ChordReadings recognise(std::span<const Pitch> notes, const Context& context = {});

// The richest row on this root that is compatible with `frame` (a row such as maj7, 7, min) and whose further
// tones are all in `sounding`: the 9ths, 11ths, 13ths and alterations over a known seventh chord. `frame`
// itself if none fits.
Quality enrich(Quality frame, PitchClass root, PitchClassSet sounding);

}  // namespace undersong::harmony
