// A written form as a standard MIDI file, format 1, in the tempos of the form, for musicians to play along
// with.
//
// Tracks: one with tempo, time and key signatures, and a marker for each part; "melody"; "chords", with chord
// names as text events; "bass"; four string parts, "string pad"; and "count-in", clicks that begin softly, if
// the form has a count-in; a pickup takes the place of its last beats. All repeats, endings and jumps are
// written out (road.h), and swing is played long and short. A layer that is silent in a part has rests there.
// Where a part has a dynamic, its notes are made as loud as it says, with their accents. Words are lyric
// events of the melody.
//
// Units: 960 ticks per quarter note in the file.
// Threads: pure functions; call them from any thread.
// Errors: one sentence if the form is longer than a MIDI file can be.
// Source: Standard MIDI Files 1.0; General MIDI program numbers.
#pragma once

#include <cstdint>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/song/hand_over.h"

namespace undersong::song {

// `strings`: made for this form.
Result<std::vector<std::uint8_t>> form_midi(const Form& form, const StringParts& strings);

// The files song.mid, lead_sheet.musicxml, chart.txt, and those of band_parts.h.
Result<Folder> hand_over_form(const Form& form, const StringsWish& wish = {});

}  // namespace undersong::song
