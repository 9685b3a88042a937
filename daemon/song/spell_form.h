// Finds the key, the signature and the letter names of all chords and melody notes of a form, together for
// the whole form or separately for each of its keys.
//
// Units: signatures in fifths; flats are negative.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total.
// Source: harmony/written_spelling.h.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "daemon/harmony/written_spelling.h"
#include "daemon/song/form.h"

namespace undersong::song {

// `heard`: the last key the ear heard, if any; it decides between a major key and its relative minor.
// `pinned`: the player pinned that key, so it gives the signature too. Where the loop goes on transposed for
// at least four bars, its parts have that key as their own.
void spell_form(Form& form, std::optional<harmony::Key> heard, bool pinned = false);

// What is known of the key of a region.
struct HeardKey {
  std::optional<harmony::Key> key;
  bool pinned = false;
};

// The same for a song in several keys. All parts of a region share one key, which is found over all of them
// together. `region_of`: for each part, an index into `heard`. Parts whose key is not that of the first part
// get a key of their own.
void spell_form_by_regions(Form& form, std::span<const std::size_t> region_of,
                           std::span<const HeardKey> heard);

// The names of chord roots. No root has a double accidental. In free playing, far from any key, roots stay
// within Gb and F# on the circle of fifths, or one fifth beyond the signature. `free`: for each chord,
// whether it was played freely.
std::vector<harmony::NoteName> spell_changes(std::span<const harmony::WrittenChord> chords, int signature,
                                             const std::vector<bool>& free);

}  // namespace undersong::song
