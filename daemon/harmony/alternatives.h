// What else could stand under the melody: chords on all twelve roots, ranked.
//
// The score of a candidate is a sum:
//   - how each melody note sits in it: chord tone, available tension, avoid note;
//   - how usual its root and triad are there (transition.h), how far it leaves the key, how far the hands
//   must move;
//   - a liking by quality for sounds with colour (ninths, suspensions, alterations), which stands against the
//   learnt
//     table's plain songs;
//   - what the player liked in this take;
//   - a place for variety: the first three places go to the score, the next nine to chords that differ in
//   root and colour
//     (maximal marginal relevance, Carbonell & Goldstein 1998). It is settled once for a question, whatever
//     the wishes;
//   - the wishes, each the product of the wish and what the chord is on that scale. So a greater wish never
//   lowers the mean
//     of that scale over the first n chords: the best n of scores a + w * v have a mean v that grows with w.
// At the familiar end the learnt likelihood outweighs all else.
// For every root the best chord is kept, and these combinations are always kept for a single note (common
// practice, no source): the note as root of a major and a minor chord, 7 of a maj7, b7 of a m7, 13 of a 6/9,
// #5 of a dominant, 5 of a major and a minor chord, #11 of an altered dominant, 11 of a m11, 3 of a maj7, b3
// of a m7, 9 of a maj9, b9 of a dominant. Pure; no allocation.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/interval.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/relation.h"
#include "daemon/harmony/spelling.h"
#include "daemon/harmony/transition.h"
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {

class TextWriter;

// What the player asks of the list, each -1..1, 0 = no wish.
struct Wishes {
  float brighter = 0;    // -1 darker .. 1 brighter
  float tenser = 0;      // -1 more resolved .. 1 more tense
  float surprising = 0;  // -1 familiar .. 1 surprising
  friend constexpr bool operator==(const Wishes&, const Wishes&) = default;
};

inline constexpr std::size_t kMaxAlternatives = 36;
inline constexpr std::size_t kMelodyNotes = 2;            // the held melody note, or the two newest
using MelodyPitches = FixedVector<Pitch, kMelodyNotes>;   // newest first
using MelodyNames = FixedVector<NoteName, kMelodyNotes>;  // of each, as it is called now

// Why an alternative stands where it does, as data; append_reason makes the sentence.
struct Reason {
  Relation relation = Relation::kNone;  // to the chord in force
  NoteName from;                        // name of the root of the chord in force
  std::optional<Key> key;
  std::uint8_t outside = 0;       // of its tones, how many lie outside the key
  std::uint8_t common_tones = 0;  // with the chord in force
  bool tension = false;           // a melody note is a tension, not a chord tone
  std::uint8_t liked = 0;         // how often the player marked it or came back to it in this take
  friend constexpr bool operator==(const Reason&, const Reason&) = default;
};

struct Alternative {
  Chord chord;
  NoteName root_name;
  FixedVector<Degree, kMelodyNotes>
      degrees;               // of each melody note in this chord, in the order of the question
  float score = 0;           // ranking only, higher first; no unit
  float dark_bright = 0;     // -1 dark .. 1 bright
  float resolved_tense = 0;  // 0 resolved .. 1 tense
  float familiar = 0;  // 0 surprising .. 1 the most usual here; logarithmic: a twelfth less is e times rarer
  Voicing voicing;
  Reason reason;
  bool tried = false;  // the player has sounded a chord of this root and family under this note
};
using Alternatives = FixedVector<Alternative, kMaxAlternatives>;

// Roots and families the player has tried under the present melody note.
class Tried {
 public:
  void add(const Chord& chord);
  bool contains(const Chord& chord) const;
  void clear() { families_ = {}; }

 private:
  std::array<std::uint8_t, 12> families_{};  // bit = Family
};

// Roots and families the player came back to in this take, or that sounded when the player set a mark.
class Liked {
 public:
  void add(const Chord& chord, int times = 1);
  int times(const Chord& chord) const;  // 0..kMost
  const std::array<std::uint8_t, 8>& of(PitchClass root) const {
    return times_[static_cast<std::size_t>(root.value())];
  }  // by Family
  void clear() { times_ = {}; }
  static constexpr int kMost = 4;

 private:
  std::array<std::array<std::uint8_t, 8>, 12> times_{};  // [root][Family]
};

struct Question {
  MelodyPitches melody;  // what stays on top; nothing is offered when empty
  std::size_t voiced =
      kMelodyNotes;  // of these, how many a voicing must hold, from the first: one when they alternate
  Style style = Style::kOpen;  // of the voicings, where it can be had; else open
  Phrase phrase;  // all the notes to be borne, by how long they sounded; empty: those of `melody`, alike
  std::optional<Key> key;
  std::optional<Chord> previous;                  // the chord in force
  FixedVector<Chord, kChordsBefore - 1> earlier;  // those before it, newest first
  Wishes wishes;
  std::optional<Idiom> lean;  // the player expects this idiom; none: found from what is heard
  bool variety = true;        // false: no places for variety
  Tried tried;
  Liked liked;
  const TakeMemory* take = nullptr;  // what was heard earlier in the take, if anything; must outlive the call
};

// Fills `out`, best first. With voicings only if `hands` is given.
void rank_alternatives(const Question& question, const Hands* hands, Alternatives& out,
                       const RankingTable& table = RankingTable::standard());

// The name of the root of `chord` in this key (flat side without a key): diminished chords as leading tones'
// chords, secondary dominants as such, never with two accidentals. Common practice, no source.
NoteName root_name_in(const Chord& chord, const std::optional<Key>& key);

// "D is its 9; falling fifth from F7; stays in Eb major; usual here". Never ends in a full stop.
// `names`: what the melody notes are called where they are shown; a note without one is named by its degree.
void append_reason(std::string& out, const Alternative& alternative, const MelodyPitches& melody,
                   const MelodyNames& names, const std::optional<Chord>& previous);
// The same where time counts; writes at most kLongestReason bytes and the writer's slack.
inline constexpr std::size_t kLongestReason = 256;
void write_reason(TextWriter& out, const Alternative& alternative, const MelodyPitches& melody,
                  const MelodyNames& names, const std::optional<Chord>& previous);

}  // namespace undersong::harmony
