// Finds other chords for a whole loop under the same melody: several proposals, each the best of its kind and
// each a closed cycle.
//
// For every chord of the loop, all chords that could replace it are rated under the melody (alternatives.h:
// the same offered chords, ratings and wishes). Each change of chord is rated by how usual it is
// (transition.h), how far the voices move, and the wish for the motion of the roots. The best cycles are
// found exactly (distinct_cycles.h). Any two proposals, and each proposal and the loop as played, differ in
// at least half of the chords that may change. Two chords differ if their roots or their kinds do; the kinds
// are major (including dominants and suspensions), minor and diminished.
//
// Chords like those of the loop, and its tonic, are preferred, the less the stronger a wish is. With no wish
// and five proposals or more, half of them are the best there are; of the others each in turn is the best
// that is brighter, more resolved, darker or tenser. The search is then repeated a few times with other
// weights for the families of chords and for the tonic, until all proposals together have about as much of
// each as the loop.
//
// With a pedal point every chord stands over the same bass note. The search is exact over all twelve bass
// notes, or over the one that was named. A bass note outside the chord costs something, and one that clashes
// with it costs more; the tonic and the dominant are preferred.
//
// The melody is never contradicted: over a chord that was not played, each long note (sung.h) is a chord tone
// or an available tension. If no offered chord allows that, the played chord stays.
//
// Units: lengths in beats of the loop, or in seconds if there is no pulse.
// Threads: pure functions; call them from any thread.
// Errors: one sentence if a section, a chord to keep or a melody does not exist.
// Source: common practice, no source, except for what the headers named here state.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/harmony/alternatives.h"
#include "daemon/harmony/chord_vocabulary.h"
#include "daemon/harmony/substitution.h"
#include "daemon/song/sung.h"

namespace undersong::song {

enum class RootMotion : std::uint8_t { kAny, kFallingFifths, kRisingFifths, kThirds, kSteps, kSemitones };
// "any", "fifths", "rising-fifths", "thirds", "steps" or "semitones"; nullopt for anything else.
std::optional<RootMotion> parse_root_motion(std::string_view text);
std::string_view text(RootMotion motion);
// True if moving from `from` to `to` satisfies the wish.
bool moves_so(RootMotion motion, PitchClass from, PitchClass to);

// A pedal point: the bass stays on one note under the whole cycle.
struct Pedal {
  std::optional<PitchClass> note;  // empty: the best of all twelve
};
// "any" or a note name; nullopt for anything else.
std::optional<Pedal> parse_pedal(std::string_view text);

struct ReharmoniseWish {
  harmony::Wishes wishes;
  RootMotion roots = RootMotion::kAny;
  std::optional<Pedal> pedal;
  std::vector<std::size_t> keep;  // chords of the loop that stay, counted from 0; with a pedal, over its bass
  std::string section;    // label of the section whose melody is kept; empty: the one with the most passes
  std::size_t count = 8;  // proposals, 1..kMostProposals
};

// A pitch class of the melody over a chord.
struct SungNote {
  harmony::NoteName name;
  harmony::Degree degree;
  harmony::Role role = harmony::Role::kChordTone;
  double length = 0;  // beats or seconds per pass, on average
  bool is_long = false;
};

struct ProposedChord {
  harmony::Chord chord;
  harmony::NoteName root;
  bool kept = false;             // the caller asked to keep it
  bool changed = false;          // root or kind differs from the played chord
  std::vector<SungNote> melody;  // longest first
  harmony::Voicing voicing;
  float dark_bright = 0, resolved_tense = 0;
  // From the chord before; for the first, from the last.
  harmony::Relation reached = harmony::Relation::kNone;
  harmony::Substitution change = harmony::Substitution::kSame;  // relation to the played chord
  int outside = 0;                                              // tones outside the key
};

struct Proposal {
  std::vector<ProposedChord> chords;
  double score = 0;  // average per chord; higher is better; comparable within one answer only
  float dark_bright = 0, resolved_tense = 0;  // mean
  std::size_t changed = 0;                    // chords whose root or kind differs from what was played
  int hands_move = 0;                         // semitones in one pass, without the top note
  std::string reason;                         // one sentence for people
  std::optional<PitchClass> pedal;            // the bass of all chords, if there is a pedal point
};

struct Reharmonisation {
  std::optional<harmony::Key> key;
  Sung melody;
  bool pulse = true;                // true: lengths in beats; false: in seconds
  Proposal played;                  // the loop itself, for comparison
  std::vector<Proposal> proposals;  // best first
  std::size_t free = 0;             // how many chords may change
  // At least this many chords differ between any two proposals, and between each and what was played.
  std::size_t apart = 0;
  bool exact =
      true;  // true: each is the best for its wish; false: the search stopped before it could prove that
};

inline constexpr std::size_t kMostProposals = 16;

Result<Reharmonisation> reharmonise(const takes::HeardTake& take, const takes::Loop& loop,
                                    const takes::Sections& sections, const ReharmoniseWish& wish);

}  // namespace undersong::song
