// Puts the player's corrections of chords over what was heard: for the chords of a study and for those that a
// take shows.
//
// Units: Micros of the take. Threads: pure. Errors: none; a correction that fits no chord, or is no chord in
// Harte syntax, is passed over. Source: common practice, no source.
#pragma once

#include <algorithm>
#include <iterator>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/takes/heard_take.h"
#include "daemon/takes/log_line.h"

namespace undersong::takes {

// `chords`: anything with a time `at`, in order. The chord that sounds at the time of a correction is renamed
// by rename(chord, parsed), so of several corrections the last one counts; kNoChord takes the chord away, and
// what sounded before it lasts on. Lines of other kinds are passed over.
template <class Chords, class Lines, class Rename>
void take_corrections(Chords& chords, const Lines& said, Rename rename) {
  for (const Line& line : said) {
    if (line.kind != LineKind::kCorrection) continue;
    const auto after = std::upper_bound(chords.begin(), chords.end(), line.at + kChordTogether,
                                        [](Micros at, const auto& chord) { return at < chord.at; });
    if (after == chords.begin()) continue;
    const auto chord = std::prev(after);
    if (line.data == kNoChord) {
      chords.erase(chord);
    } else if (const auto parsed = harmony::parse_harte(line.data)) {
      rename(*chord, *parsed);
    }
  }
}

}  // namespace undersong::takes
