// What else could stand under the held melody notes: chords on all twelve roots, ranked.
//
// A candidate is scored by how each melody note sits in it, by what usually follows, by how plain its name is, by how
// far the hands would have to move, and by the player's wishes. For every root the best chord is kept, and these
// combinations are always kept for a single note (common practice, no source): the note as root of a major and a minor
// chord, 7 of a maj7, b7 of a m7, 13 of a 6/9, #5 of a dominant, 5 of a major and a minor chord, #11 of an altered
// dominant, 11 of a m11, 3 of a maj7, b3 of a m7, 9 of a maj9, b9 of a dominant.
// Pure; no allocation.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/interval.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/spelling.h"
#include "daemon/harmony/transition.h"
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {

// What the player asks of the list, each -1..1, 0 = no wish.
struct Wishes {
  float brighter = 0;    // -1 darker .. 1 brighter
  float tenser = 0;      // -1 more resolved .. 1 more tense
  float surprising = 0;  // -1 familiar .. 1 surprising
  friend constexpr bool operator==(const Wishes&, const Wishes&) = default;
};

inline constexpr std::size_t kMaxAlternatives = 36;
inline constexpr std::size_t kMelodyNotes = 2;  // the held melody note, or the two newest
using MelodyPitches = FixedVector<Pitch, kMelodyNotes>;  // newest first

// Why an alternative stands where it does, as data; append_reason makes the sentence.
struct Reason {
  RootMove move = RootMove::kNone;  // from the chord in force
  bool in_key = false;              // all its tones lie in the key
  std::uint8_t common_tones = 0;    // with the chord in force
  bool tension = false;             // a melody note is a tension, not a chord tone
  friend constexpr bool operator==(const Reason&, const Reason&) = default;
};

struct Alternative {
  Chord chord;
  NoteName root_name;
  FixedVector<Degree, kMelodyNotes> degrees;  // of each melody note in this chord, in the order of the question
  float score = 0;           // ranking only, higher first; no unit
  float dark_bright = 0;     // -1 dark .. 1 bright
  float resolved_tense = 0;  // 0 resolved .. 1 tense
  float familiar = 0;        // 0 surprising .. 1 the usual thing after the chord in force
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

struct Question {
  MelodyPitches melody;            // nothing is offered when empty
  std::optional<Key> key;
  std::optional<Chord> previous;   // the chord in force
  Wishes wishes;
  Tried tried;
};

// Fills `out`, best first. With voicings only if `hands` is given.
void rank_alternatives(const Question& question, const Hands* hands, Alternatives& out);

// The name of the root of `chord` in this key (flat side without a key).
NoteName root_name_in(const Chord& chord, const std::optional<Key>& key);

// "G is the 9th; the root falls a fifth from C7; two common tones". Never ends in a full stop.
void append_reason(std::string& out, const Alternative& alternative, const MelodyPitches& melody,
                   const std::optional<Chord>& previous);

}  // namespace undersong::harmony
