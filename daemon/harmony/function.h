// What a chord is for: its function in a key, or towards the chord before it, and the words for that.
//
//   function_in(chord, key).why;   // Why::kDominantOf for A7 in C major; its goal is 2, the second degree
//
// Units: degrees in semitones above the tonic, 0..11.
// Threads: any; pure functions. The table is made at the first use (thread-safe). No allocation after that.
// Errors: none; all functions are total.
// Source: Kostka & Payne, "Tonal Harmony"; Levine, "The Jazz Theory Book"; Mulholland & Hojnacki, "The
// Berklee Book of Jazz Harmony"; from memory. Which of several functions is named: common practice, no
// source.
#pragma once

#include <cstdint>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

class TextWriter;

// The words are in function.cpp, in the same order.
enum class Why : std::uint8_t {
  kNone,
  // Towards the chord in force, X.
  kPedal,      // another root over the same bass
  kBassFalls,  // the same root over a bass that falls, or rises, by one or two semitones
  kBassRises,
  kBassDown,  // another root; one of the two is a slash chord, and the bass moves by a step
  kBassUp,
  kLineFalls,  // the same root; one inner voice moves by a semitone, and nothing else
  kLineRises,
  kLydian,          // the same root, now a major chord with #11
  kLydianDominant,  // the same for a dominant
  kSuspends,        // the same root, its third replaced
  kUnsuspends,
  kParallelMinor,
  kParallelMajor,
  kAdds,  // the same root with one more tone; `goal` and `own` are its degree: number, and alteration plus
          // two
  kSameRoot,
  kDeceptive,           // V goes to vi, or to bVI
  kBackdoorHome,        // bVII7 goes to I
  kPlagal,              // IV goes to I
  kResolves,            // down a fifth from a dominant
  kResolvesSubstitute,  // down a semitone from a dominant
  kTritoneFor,          // the dominant a tritone from X
  kTritoneAfter,        // after a ii, the dominant a tritone from its V
  kCompletesTwoFive,
  kRelatedTwo,  // a minor or half-diminished chord a fifth above the dominant X
  kCommonTone,  // a diminished seventh chord on the root of X
  kPassingUp,   // a diminished chord between X and a chord of the key a whole step away
  kPassingDown,
  kRelativeMinor,
  kRelativeMajor,
  kLeadingTone,
  kChromaticMediant,
  kShares,  // some tones; `goal` says how many
  kFallingFifth,
  // In a key.
  kOver,           // a triad of the key over another degree: IV over V
  kDominant,       // V
  kDominantMinor,  // V whose tones outside the key are those of the parallel minor
  kDominantAltered,
  kDominantSuspended,
  kDominantOf,  // a dominant a fifth above another degree of the key
  kSuspendedOf,
  kTritoneForV,    // the dominant a semitone above the tonic
  kTritoneForVOf,  // the same above another degree
  kBlues,          // IV as a dominant
  kBackdoor,       // bVII as a dominant
  kNeapolitan,
  kDiminishedOf,  // contains the leading tone of a degree
  kTwoOf,         // a ii whose V is a secondary or substitute dominant
  kPicardy,
  kFromMinor,
  kFromDorian,
  kFromMixolydian,
  kFromPhrygian,
  kFromLydian,
  kFromMajor,
  kTonic,
  kPrepares,   // ii
  kStandsFor,  // iii and vi
  kSubdominant,
  kMinorDominant,
  kLeadsTo,      // vii, and VII in minor
  kRelativeOf,   // III in minor
  kSuspendedOn,  // a suspended chord of the key
  kBelongsTo,    // another major key
  // Of itself.
  kDominantAlone,
  kAlteredAlone,
  kMajorAlone,
  kMinorAlone,
  kMinorSixthAlone,
  kMelodicMinor,
  kMelodicThird,
  kHalfDiminishedAlone,
  kDiminishedAlone,
  kAugmented,
  kLydianAlone,
  kPhrygian,
  kSuspended,
  kNoThird,
  kOutside,
  // Of the take.
  kCameBack,
  kCount,
};

struct Function {
  Why why = Why::kNone;
  std::uint8_t goal = 0;  // the degree it is named after; for kShares a number of tones
  bool minor = false;     // the key is minor
  NoteName about;         // the root, tonic or chord it is named after
  NoteName second;        // kMajorAlone and kMinorAlone: the second of two keys
  std::uint8_t own = 0;   // kOver: its own degree; kAdds: see there
  friend constexpr bool operator==(const Function&, const Function&) = default;
};

// What it is in the key whatever was before; without a key, what it is alone. From a table; the bass does not
// count.
const Function& function_in(const Chord& chord, const std::optional<Key>& key);
// True if it says more than what a chord of the key is usually for.
bool is_telling(Why why);

// Writes it in words. `from`: the quality of the chord in force, if the function is named after that.
void write_function(TextWriter& out, const Function& function, Quality from);

}  // namespace undersong::harmony
