// The static reading: which chord is this set of notes? Gives a ranked list of names.
//
//   const ChordReadings readings = recognise(notes);
//   if (!readings.empty()) show(readings[0].chord);
//
// Every root and every row of the vocabulary gets a price: for tones that sound but do not belong, tones that
// belong but do not sound, a bass other than the root, a missing root, and the rarity of the name. What the
// key and the previous chord make likely is cheaper. The cheapest name comes first.
//
// Units: prices in the unit of recogniser.cpp; confidence 0..1.
// Threads: any; pure functions. No allocation after the tables were made. A call takes a few microseconds.
// Errors: none; fewer than two pitch classes give an empty list.
// Source: the prices are common practice, no source.
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
  float confidence = 0;  // 0..1; the sum over a list is at most 1
  float price = 0;       // the first of a list has the lowest
};
inline constexpr std::size_t kMaxReadings = 5;
using ChordReadings = FixedVector<ChordReading, kMaxReadings>;

// What decides between names that fit the notes equally well.
struct Context {
  std::optional<Key> key;
  std::optional<Chord> previous;
  // What the ear makes of the music: the log-probability of each root and class (ear_classes.h), 12 *
  // kEarClasses values. Empty: nothing is known.
  std::span<const float> heard = {};
  // True: only names all of whose tones sound, except the root and the perfect fifth.
  bool sounding_only = false;
};

// The names of `notes`, the sounding keys, lowest first, repeats allowed. Fewer than two pitch classes give
// no reading.
ChordReadings recognise(std::span<const Pitch> notes, const Context& context = {});

// The richest row on this root that extends `frame` (a row such as maj7, 7 or min) by tones that are all in
// `sounding`: the 9ths, 11ths, 13ths and alterations over a known seventh chord. `frame` itself if there is
// none.
Quality enrich(Quality frame, PitchClass root, PitchClassSet sounding);

}  // namespace undersong::harmony
