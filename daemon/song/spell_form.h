// Key, signature and the letters of all chords and melody notes of a form, found together over the whole of it.
//
// Threads: pure. Source: harmony/written_spelling.h.
#pragma once

#include <optional>

#include "daemon/song/form.h"

namespace undersong::song {

// `heard`: the key the ear had last, if any; it decides between major and its relative minor.
void spell_form(Form& form, std::optional<harmony::Key> heard);

}  // namespace undersong::song
