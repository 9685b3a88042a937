// Why an alternative is offered: as data, and as a sentence.
//
//   append_reason(text, alternative, melody, names, previous);   // "D is its 9; falling fifth from F7; ..."
//
// Units: see each member.
// Threads: pure functions; call them from any thread. write_reason does not allocate.
// Errors: none; all functions are total.
// Source: the names in relation.h.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "daemon/harmony/chord.h"
#include "daemon/harmony/fixed_vector.h"
#include "daemon/harmony/key.h"
#include "daemon/harmony/relation.h"
#include "daemon/harmony/spelling.h"

namespace undersong::harmony {

struct Alternative;
class TextWriter;

inline constexpr std::size_t kMelodyNotes = 2;            // the held melody note, or the two newest
using MelodyPitches = FixedVector<Pitch, kMelodyNotes>;   // newest first
using MelodyNames = FixedVector<NoteName, kMelodyNotes>;  // their names as shown now

// Why an alternative is offered, as data. append_reason makes the sentence.
struct Reason {
  Relation relation = Relation::kNone;  // to the chord in force
  NoteName from;                        // name of the root of the chord in force
  std::optional<Key> key;
  std::uint8_t outside = 0;       // number of its tones outside the key
  std::uint8_t common_tones = 0;  // with the chord in force
  bool tension = false;           // a melody note is a tension, not a chord tone
  std::uint8_t liked = 0;         // how often the player marked it or came back to it in this take
  friend constexpr bool operator==(const Reason&, const Reason&) = default;
};

// Appends a sentence such as "D is its 9; falling fifth from F7; stays in Eb major; usual here", without a
// full stop. `names`: the names of the melody notes where they are shown; a note without a name is given by
// its degree.
void append_reason(std::string& out, const Alternative& alternative, const MelodyPitches& melody,
                   const MelodyNames& names, const std::optional<Chord>& previous);
// The same, faster. Writes at most kLongestReason bytes, and the slack of the writer.
inline constexpr std::size_t kLongestReason = 256;
void write_reason(TextWriter& out, const Alternative& alternative, const MelodyPitches& melody,
                  const MelodyNames& names, const std::optional<Chord>& previous);

}  // namespace undersong::harmony
