// Other chords that fit under the melody, on all twelve roots, ranked; among them three to six slash chords.
//
// The score of a candidate is a sum of:
//
// - how each melody note fits the chord: chord tone, available tension or avoid note. A chord in which a held
//   note is an avoid note is offered only at the familiar end of the scale;
// - how usual its root and triad are here (transition.h), how many of its tones lie outside the key, and how
//   far the hands must move;
// - a preference by quality for colourful sounds (ninths, suspensions, alterations), which balances the plain
//   songs that the table was learnt from;
// - what the player liked in this take: the very chord, and a little its family.
//
// From these scores the order without wishes is made (places.h): likely, wide, then functions. It is fixed
// for a question and does not depend on the wishes. To it are added the wishes: a weight that grows with each
// wish, times the chord's value on that scale. A greater wish therefore never lowers the mean of that scale
// over the first n chords: the best n by a + w * v have a mean v that grows with w. A full wish moves that
// mean by about half the range of the list.
//
// At the familiar end of the scale, the learnt likelihood outweighs everything else.
//
// The list has the best chord of every root, if the root has a chord that carries the held notes. (Of two
// held notes, a third and a fourth above a root, or a flat ninth and a seventh, have none there.) For a
// single melody note it also has these combinations: the note as root of a major and a minor chord, 7 of a
// major chord, b7 of a minor one, 6 of a major one, #5 of a dominant, 5 of a major and a minor chord, #11 of
// a dominant, 11 of a minor chord, 3 of a major one, b3 of a minor one, 9 of a major one, b9 of a dominant.
//
// Units: MIDI keys; scores have no unit; other ranges are given below.
// Threads: pure functions; call them from any thread. No allocation.
// Errors: none; without a melody note the list is empty.
// Source: common practice, no source: the weights and combinations.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/interval.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/reason.h"
#include "daemon/harmony/spelling.h"
#include "daemon/harmony/transition.h"
#include "daemon/harmony/tried.h"
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {

class PlayerMemory;

// What the player wishes for, each -1..1; 0 = no wish.
struct Wishes {
  float brighter = 0;    // -1 darker .. 1 brighter
  float tenser = 0;      // -1 more resolved .. 1 more tense
  float surprising = 0;  // -1 familiar .. 1 surprising
  friend constexpr bool operator==(const Wishes&, const Wishes&) = default;
};

inline constexpr std::size_t kMaxAlternatives = 36;

struct Alternative {
  Chord chord;
  NoteName root_name;
  // Of each melody note in this chord, in the order of the question.
  FixedVector<Degree, kMelodyNotes> degrees;
  float score = 0;           // ranking only, higher first; no unit
  float dark_bright = 0;     // -1 dark .. 1 bright
  float resolved_tense = 0;  // 0 resolved .. 1 tense
  // 0 surprising .. 1 the most usual here. Logarithmic: 1/12 less means e times rarer.
  float familiar = 0;
  Voicing voicing;
  Reason reason;
  std::uint8_t tried = 0;  // how often the player has sounded this chord under this note; tried.h
};
using Alternatives = FixedVector<Alternative, kMaxAlternatives>;

struct Question {
  MelodyPitches melody;  // stays on top; if empty, nothing is offered
  // How many of these a voicing must contain, counted from the first: one if the notes alternate.
  std::size_t voiced = kMelodyNotes;
  Style style = Style::kOpen;  // of the voicings, where a chord can be played in it; otherwise open
  // All notes that the chords must fit, weighted by how long they sounded; empty: those of `melody`, equally.
  Phrase phrase;
  std::optional<Key> key;
  std::optional<Chord> previous;                  // the chord in force
  FixedVector<Chord, kChordsBefore - 1> earlier;  // those before it, newest first
  Wishes wishes;
  std::optional<Idiom> lean;  // the idiom that the player expects; nullopt: it is found from what is heard
  bool lean_own = false;      // the player's own idiom counts for more
  bool variety = true;        // false: rank by score alone
  Tried tried;
  Liked liked;
  const TakeMemory* take = nullptr;      // what was heard earlier in the take, or null; must outlive the call
  const PlayerMemory* player = nullptr;  // what was played in earlier takes, or null; must outlive the call
};

// Fills `out`, best first. Makes voicings only if `hands` is given.
void rank_alternatives(const Question& question, const Hands* hands, Alternatives& out,
                       const RankingTable& table = RankingTable::standard());

// The name of the root of `chord` in this key; without a key, on the flat side. Diminished chords are named
// as chords of a leading tone, and dominants as those of a degree of the key. Never has two accidentals.
// Common practice, no source.
NoteName root_name_in(const Chord& chord, const std::optional<Key>& key);

}  // namespace undersong::harmony
