// Other chords for the whole loop under the same melody: several, each the best of its kind, closed as a
// cycle.
//
// For every chord of the loop what could stand there (alternatives.h: the same offered chords, liking and
// wishes) is weighed under the melody over it; links weigh how usual the next chord is there (transition.h),
// how far the voices move, and the wish for the roots' motion. The cycles are found exactly among these
// (distinct_cycles.h); every two of them, and each and the loop as played, differ in at least half of the
// chords that are free, by root or by kind: major (with dominants and suspensions, which stand in for it),
// minor, or diminished.
//
// A bass that stays (pedal point): every chord stands over one note, and the cycles are sought exactly over
// all twelve of them, or over the one that was named. A bass that is no tone of the chord costs, one that it
// clashes with costs more; the tonic and the dominant are the usual ones.
//
// The melody is never contradicted: over a chord that is not the one played, each long note (sung.h) is a
// chord tone or an available tension. Where no offered chord allows that, the played one stays.
//
// Threads: pure. Errors: one sentence for a section, a chord to keep or a melody that isn't there.
// Source: common practice, no source, where a header named here says no other.
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
std::optional<RootMotion> parse_root_motion(
    std::string_view text);  // "any", "fifths", "rising-fifths", "thirds", "steps", "semitones"
std::string_view text(RootMotion motion);
// Does going from one root to the next satisfy the wish?
bool moves_so(RootMotion motion, PitchClass from, PitchClass to);

// The bass stays on one note under the whole cycle.
struct Pedal {
  std::optional<PitchClass> note;  // nothing: on the best one
};
// "any" or a note name; nothing when it is neither.
std::optional<Pedal> parse_pedal(std::string_view text);

struct ReharmoniseWish {
  harmony::Wishes wishes;
  RootMotion roots = RootMotion::kAny;
  std::optional<Pedal> pedal;
  std::vector<std::size_t> keep;  // chords of the loop that stay, the first is 0; over a pedal with its bass
  std::string section;            // label whose melody is kept; empty: the section with the most passes
  std::size_t count = 8;          // proposals, 1..kMostProposals
};

// A pitch class of the melody in a chord.
struct SungNote {
  harmony::NoteName name;
  harmony::Degree degree;
  harmony::Role role = harmony::Role::kChordTone;
  double length = 0;  // beats or seconds, a time round on average
  bool is_long = false;
};

struct ProposedChord {
  harmony::Chord chord;
  harmony::NoteName root;
  bool kept = false;             // it was asked to stay
  bool changed = false;          // root or kind differs from what was played
  std::vector<SungNote> melody;  // longest first
  harmony::Voicing voicing;
  float dark_bright = 0, resolved_tense = 0;
  harmony::Relation reached = harmony::Relation::kNone;         // from the chord before it, round the cycle
  harmony::Substitution change = harmony::Substitution::kSame;  // in place of what was played
  int outside = 0;                                              // tones outside the key
};

struct Proposal {
  std::vector<ProposedChord> chords;
  double score = 0;  // a chord on average; higher is better; comparable within one answer only
  float dark_bright = 0, resolved_tense = 0;  // mean
  std::size_t changed = 0;                    // chords whose root or kind differs from what was played
  int hands_move = 0;                         // semitones once round, without the top note
  std::string reason;                         // one plain sentence
  std::optional<PitchClass> pedal;            // the bass of all its chords, where it was to stay
};

struct Reharmonisation {
  std::optional<harmony::Key> key;
  Sung melody;
  bool pulse = true;                // lengths in beats; else in seconds
  Proposal played;                  // the loop itself, for comparison
  std::vector<Proposal> proposals;  // best first
  std::size_t free = 0;             // chords that may change
  std::size_t apart =
      0;              // in so many chords at least every two differ, and each differs from what was played
  bool exact = true;  // proved best; false only where the search had to give up proving
};

inline constexpr std::size_t kMostProposals = 16;

Result<Reharmonisation> reharmonise(const takes::HeardTake& take, const takes::Loop& loop,
                                    const takes::Sections& sections, const ReharmoniseWish& wish);

}  // namespace undersong::song
