// Voice leading: how far voices must move from one chord to the next.
//
//   voice_leading_distance(c_major, a_minor);   // 2 semitones: G moves to A
//
// Distances are minimal over all assignments of voices. Every tone of both chords takes part; where the
// chords differ in size, several voices may leave one tone or reach one tone. At most 16 voices count.
//
// Units: semitones.
// Threads: any; pure functions. No allocation after the vocabulary was made.
// Errors: none; all functions are total.
// Source: Tymoczko (2006), "The geometry of musical chords", Science 313, 72-74.
#pragma once

#include <cstddef>
#include <span>

#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/pitch.h"

namespace undersong::harmony {

inline constexpr std::size_t kMostVoices = 16;

// Semitones between pitch classes the short way round, 0..6.
constexpr int pitch_class_distance(PitchClass a, PitchClass b) {
  const int up = ascending(a, b);
  return up < 12 - up ? up : 12 - up;
}

// Semitones of the minimal voice leading between keys that sound, octaves as they are. 0 if either is empty.
int voice_leading_distance(std::span<const Pitch> from, std::span<const Pitch> to);

struct VoiceMotion {
  PitchClass from;
  PitchClass to;
  friend constexpr bool operator==(VoiceMotion, VoiceMotion) = default;
};
struct VoiceLeading {
  int semitones = 0;
  FixedVector<VoiceMotion, 2 * kMostVoices> voices;
};
// The minimal voice leading between chords of pitch classes, given as multisets in any order. With
// `keep_bass`, the first of `from` goes to the first of `to`. Empty if either list is empty.
VoiceLeading minimal_voice_leading(std::span<const PitchClass> from, std::span<const PitchClass> to,
                                   bool keep_bass = false);

}  // namespace undersong::harmony
