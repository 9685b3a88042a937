// Voice leading: how far voices must move from one chord to the next.
//
// Distances are minimal over all ways of assigning voices; every tone of both chords takes part, and a tone
// may be reached from or split into several voices where the chords differ in size. At most 16 voices count.
// Pure; no allocation. Source: Tymoczko (2006), "The geometry of musical chords", Science 313, 72-74.
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
// `keep_bass` the first of `from` goes to the first of `to`. Empty if either is.
VoiceLeading minimal_voice_leading(std::span<const PitchClass> from, std::span<const PitchClass> to,
                                   bool keep_bass = false);

}  // namespace undersong::harmony
