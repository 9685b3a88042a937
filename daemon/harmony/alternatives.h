// What else could stand under the held melody notes: chords on all twelve roots, ranked.
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
#include "daemon/harmony/voicing.h"

namespace undersong::harmony {

// What the player asks of the list, each -1..1, 0 = no wish.
struct Wishes {
  float brighter = 0;    // -1 darker .. 1 brighter
  float tenser = 0;      // -1 more resolved .. 1 more tense
  float surprising = 0;  // -1 familiar .. 1 surprising
  friend constexpr bool operator==(const Wishes&, const Wishes&) = default;
};

inline constexpr std::size_t kMaxAlternatives = 40;
inline constexpr std::size_t kMelodyNotes = 2;  // the held melody note, or the two newest

// Why an alternative is offered, as data; `text` in alternatives.h makes the sentence.
struct Reason {
  enum class Move : std::uint8_t {  // of the root, from the chord in force
    kNone, kSameRoot, kFallingFifth, kRisingFifth, kStepUp, kStepDown, kThirdUp, kThirdDown, kSemitoneUp, kSemitoneDown, kTritone,
  };
  Move move = Move::kNone;
  bool diatonic = false;        // all its tones lie in the key
  std::uint8_t common_tones = 0;  // with the chord in force
};

struct Alternative {
  Chord chord;
  NoteName root_name;
  FixedVector<Degree, kMelodyNotes> degrees;  // of each melody note in this chord, in the order of the question
  float score = 0;           // ranking only, higher first; no unit
  float dark_bright = 0;     // -1 dark .. 1 bright
  float resolved_tense = 0;  // 0 resolved .. 1 tense
  float familiar = 0;        // 0 surprising .. 1 the usual thing after the previous chord
  Voicing voicing;
  Reason reason;
  bool tried = false;        // the player has already sounded this root and family under this note
};
using Alternatives = FixedVector<Alternative, kMaxAlternatives>;

}  // namespace undersong::harmony
