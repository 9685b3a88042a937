// What the searches for chords have in common: which chords count as alike, and the prices of a chord beside
// its neighbours, in its key and over a pedal point.
//
//   kinds               chords of one kind can replace each other: a suspension, a dominant and an augmented
//                       chord count as major
//   sounds              families as a listener tells them apart: a major seventh is not a plain triad
//   kRichness           for each tone more or less than the loop's chords have
//   kLikeTheLoop        times the logarithm of the share that the chord's sound has in the loop
//   kMotion             for each semitone that one voice moves
//   kRepeated, kSameRoot   for a chord of the same kind, or on the same root, as the one before
//
// Units: prices and worths have the unit of natural logarithms.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: harmony/transition.h for what is usual; the weights are common practice, no source.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/transition.h"

namespace undersong::song {

inline constexpr double kRichness = .2, kLikeTheLoop = 2, kLeastShare = .04;
inline constexpr double kMotion = .08, kRepeated = 4, kSameRoot = .7;

inline constexpr std::size_t kChordKinds = 3;  // on each root
std::uint16_t kind_of(const harmony::Chord& chord);

inline constexpr std::size_t kSounds = 8;
std::size_t sound_of(const harmony::Chord& chord);

harmony::PitchClassSet tones_of(const harmony::Chord& chord);

// The least number of semitones that the voices move.
double voices_move(const harmony::Chord& from, const harmony::Chord& to);

// How usual each chord is after `before`: natural logarithms, 0 for the most usual.
void usual_scores(const harmony::Phrase& phrase, const std::optional<harmony::Key>& key,
                  const harmony::ChordsBefore& before, harmony::ChordScores& out);
// `surprising`: the wish, -1..1.
double usual_worth(const harmony::ChordScores& scores, const harmony::Chord& chord, double surprising);

// What a chord is worth over a pedal point: less if the bass is foreign to it, more if it is the tonic or the
// dominant of the key.
double over_pedal(const harmony::Chord& chord, PitchClass bass, const std::optional<harmony::Key>& key);

}  // namespace undersong::song
