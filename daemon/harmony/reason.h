// Why a chord is offered: the most telling thing that is true of it, as data and as a sentence.
//
//   append_reason(text, alternative, melody, names);   // "G is its root; V of ii"
//
// What a chord is for comes first, from the strongest to the plainest:
//
//   after the chord in force   pedal, stepping bass and line cliché; Lydian on the same root, suspensions and
//                              parallels; cadences: deceptive, plagal, backdoor, a dominant that resolves;
//                              ii-V and related ii; tritone substitute; passing and common-tone diminished
//   in the key                 V and its alterations; secondary dominants (V of ii ...) and their tritone
//                              substitutes; backdoor dominant; Neapolitan; leading-tone diminished; related
//                              ii; Picardy third; borrowed from a parallel mode
//   of this take               the player came back to it
//   after the chord in force   relative, leading-tone exchange, chromatic mediant, common tones, falling
//   fifth in the key                 the function of a chord of the key; else the nearest key that it belongs
//   to alone                      without a key, the keys it can be at home in
//
// function.h decides what a chord is in a key, which is in a table; the rest is decided for each pair of
// chords.
//
// Units: see each member. A reason has at most eight words.
// Threads: pure functions; call them from any thread. Tables are made at the first use (thread-safe).
// write_reason and reason_for do not allocate.
// Errors: none; all functions are total.
// Source: Kostka & Payne, "Tonal Harmony" (cadences, secondary dominants, mode mixture, Neapolitan,
// common-tone diminished, chromatic mediants); Aldwell & Schachter, "Harmony and Voice Leading" (passing
// diminished, pedal); Levine, "The Jazz Theory Book" (tritone substitution, suspensions, Lydian); Mulholland
// & Hojnacki, "The Berklee Book of Jazz Harmony" (related ii, backdoor, modal interchange, line clichés);
// Cohn (1997) for the leading-tone exchange. From memory. The order: common practice, no source.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/function.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/relation.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

struct Alternative;
class TextWriter;

inline constexpr std::size_t kMelodyNotes = 2;            // the held melody note, or the two newest
using MelodyPitches = FixedVector<Pitch, kMelodyNotes>;   // newest first
using MelodyNames = FixedVector<NoteName, kMelodyNotes>;  // their names as shown now

// Why an alternative is offered, as data. write_reason makes the sentence.
struct Reason {
  Function function;       // the most telling thing
  Quality from;            // of the chord in force, where the function is named after it
  std::uint8_t liked = 0;  // how often the player marked it or came back to it in this take
  friend constexpr bool operator==(const Reason&, const Reason&) = default;
};

// `before`: the chords before it, newest first; `from`: the name of the root of the newest.
Reason reason_for(const Chord& chord, const std::optional<Key>& key, const ChordsBefore& before,
                  NoteName from, int liked);

// Appends a sentence such as "D is its 9; V of ii", without a full stop. `names`: the names of the melody
// notes where they are shown; a note without a name is given by its degree.
void append_reason(std::string& out, const Alternative& alternative, const MelodyPitches& melody,
                   const MelodyNames& names);
// The same, faster. Writes at most kLongestReason bytes, and the slack of the writer.
inline constexpr std::size_t kLongestReason = 256;
void write_reason(TextWriter& out, const Alternative& alternative, const MelodyPitches& melody,
                  const MelodyNames& names);

}  // namespace undersong::harmony
