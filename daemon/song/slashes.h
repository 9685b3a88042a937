// Slash notation: a beat for each slash, or a group of eighth notes, for players who find their own notes in
// the chords above. Where a chord changes between two beats, the slash is divided there, so that the rhythm
// of the changes can be read.
//
// Units: Ticks from the beginning of a part.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: common practice, no source.
#pragma once

#include <span>
#include <vector>

#include "daemon/song/form.h"

namespace undersong::song {

enum class SlashLine : std::uint8_t { kTreble, kBass };  // the middle line of which clef, as it sounds

// From `from` to `to`; a bass sounds an octave lower than it is written.
std::vector<WrittenNote> slashes(std::span<const WrittenChord> chords, Ticks from, Ticks to,
                                 const Meter& meter, SlashLine line);

// The form with slashes in place of the melody: in parts that have chords, and with `only_without_tune` only
// if they have no melody. Other parts lose their melody unless `only_without_tune` is set.
Form with_slashes(const Form& form, bool only_without_tune);

}  // namespace undersong::song
