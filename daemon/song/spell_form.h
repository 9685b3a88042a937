// Key, signature and the letters of all chords and melody notes of a form, found together over the whole of
// it, or over each of its keys.
//
// Threads: pure. Source: harmony/written_spelling.h.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/written_spelling.h"
#include "daemon/song/form.h"

namespace undersong::song {

// `heard`: the key the ear had last, if any; it decides between major and its relative minor. `pinned`: the
// player said it, and it gives the signature too.
void spell_form(Form& form, std::optional<harmony::Key> heard, bool pinned = false);

// The same for a song in several keys: parts of one region have one key, found over all of them together.
// `region_of`: one for each part, an index into `heard`. Parts whose region's key is not that of the first
// part get a key of their own.
void spell_form_by_regions(Form& form, std::span<const std::size_t> region_of,
                           std::span<const std::optional<harmony::Key>> heard, bool pinned = false);

// Roots of chords in beats, as spell_form spells them. No root has two accidentals, and in free playing, far
// from any key, none has a name beyond Gb and F#, or the signature's own. `free`: for each chord.
std::vector<harmony::NoteName> spell_changes(std::span<const harmony::WrittenChord> chords, int signature,
                                             const std::vector<bool>& free);

}  // namespace undersong::song
