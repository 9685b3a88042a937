// Key, signature and the letters of all chords and melody notes of a form, found together over the whole of it.
//
// Threads: pure. Source: harmony/written_spelling.h.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/written_spelling.h"
#include "daemon/song/form.h"

namespace undersong::song {

// `heard`: the key the ear had last, if any; it decides between major and its relative minor.
void spell_form(Form& form, std::optional<harmony::Key> heard);

// Roots of chords in beats, as spell_form spells them. No root has two accidentals, and in free playing, far from any key,
// none has a name beyond Gb and F#, or the signature's own. `free`: for each chord.
std::vector<harmony::NoteName> spell_changes(std::span<const harmony::WrittenChord> chords, int signature, const std::vector<bool>& free);

}  // namespace undersong::song
