// Slash chords that fit under the melody: triads and sevenths over a bass that is not their root.
//
// There are two kinds.
//
// - Over a foreign bass: F/G (a suspended dominant), D/C (Lydian), C/F, Dm/G, Am/G#. They are offered over
// any
//   bass, and rise if the bass moves by step or stays (a pedal point).
// - Inversions: C/E, D7/F#, Am/C. A bass that leaps to a third or fifth only weakens the chord, so they are
//   offered only where the bass moves by step from the chord in force, or stays.
//
// A slash chord with the tones and bass of a chord in root position is the same chord by another name. The
// name that musicians prefer is offered: F/G instead of G9sus4, but Am7 instead of C6/A and C6 instead of
// Am7/C.
//
// Units: scores as in alternatives.h.
// Threads: pure functions; call them from any thread. Tables are made at the first use (thread-safe); no
// allocation after that.
// Errors: none; all functions are total.
// Source: common practice, no source: the shapes, their names and their liking.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/offered.h"
#include "daemon/harmony/ranking_terms.h"

namespace undersong::harmony {

inline constexpr std::size_t kMostSlashChords = 6;

struct SlashChord {
  Chord chord;
  std::uint8_t cls = 0;     // as QualityClass
  std::uint8_t family = 0;  // as Family
  bool rests = false;       // every held note is at rest, as in kRests
  float score = 0;          // without wishes
  float familiar = 0;       // 0..1
  // Bit i: the i-th offered quality on the bass is this chord by another name.
  std::uint64_t same_as = 0;
  const InKey* home = nullptr;
};
using SlashChords = FixedVector<SlashChord, kMostSlashChords>;

// The best slash chords, best first. They differ in tones or bass from each other.
void find_slash_chords(const Terms& terms, SlashChords& out);

}  // namespace undersong::harmony
