// Proposes contrasting sections for a loop: four bridges of eight bars in other keys, and four interludes of
// four bars on the same tonic, two in other modes and two over a pedal point. They have chords and no melody.
//
// Each has one way in and one way back. The first chord is reached from the loop's last chord by a falling
// fifth, a step or a third. The last chord leads to the loop's first chord: a dominant a fifth above it or a
// semitone above it, or a suspension of the first. A bridge states its new tonic in the third bar; an
// interlude in another mode in its second, and in its third a chord with a note that the loop's key does not
// have.
//
// Everything else is searched exactly (harmony/distinct_cycles.h), with the prices of other chords for a loop
// (chord_prices.h): how usual each chord is after the one before in its key, how far voices move, and how
// much the chords are like the loop's. The loop itself is one link of the cycle. A chord comes at most twice
// in a bridge and once in an interlude, beside the tonic and the way back: where the best section has one too
// often, it is taken out of that bar, and the search is done again. Two bridges differ in at least four of
// their eight chords, two interludes in two of their four, in root or kind, and each from the loop played on
// instead.
//
// Units: Ticks; `meter` in beats per bar.
// Threads: pure functions; call them from any thread.
// Errors: none. REQUIRES: the loop has a chord.
// Source: common practice, no source: which keys and modes contrast.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/harmony/key.h"
#include "daemon/song/form.h"

namespace undersong::song {

struct GrownSection {
  bool bridge = false;  // false: an interlude
  harmony::Key key;     // whose signature it has
  std::optional<PitchClass> pedal;
  std::vector<WrittenChord> chords;  // one a bar
  std::string reason;                // one sentence for people, without a full stop
};

struct Growth {
  std::vector<GrownSection> sections;  // bridges first, the nearest key first
  bool exact = true;                   // false: a search stopped before it could prove its result the best
};

// `loop`: the chords of one time, in order. `key`: of the loop.
Growth grow(const std::vector<WrittenChord>& loop, harmony::Key key, int meter);

inline constexpr std::size_t kGrownBridges = 4, kGrownInterludes = 4;
inline constexpr int kBridgeBars = 8, kInterludeBars = 4;

// True if this is one of the ways into a section: a falling fifth, a step or a third.
bool leads_in(const harmony::Chord& from, const harmony::Chord& to);
// True if a section may end with `from` before a loop that begins with `to`.
bool leads_back(const harmony::Chord& from, const harmony::Chord& to);

// The chords as a line of a sketch (chord_line.h), one a bar.
std::string chord_line_of(const std::vector<WrittenChord>& chords);

}  // namespace undersong::song
