// What a bass player reads over a row of chords: the line that the passes have in common, slashes in bars
// where they agree on nothing, and the held bass of a chord where the line says nothing. Without any line,
// held basses only.
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

// What the passes agree on, from `from` to `to`. `lines`: the bass of each pass, one voice each.
BassLine agreed_bass(const std::vector<std::vector<WrittenNote>>& lines, Ticks from, Ticks to, Ticks bar);

// `slashes`: whether bars without a common line have slashes, or are played with the bass of their chords.
std::vector<WrittenNote> bass_voice(std::span<const WrittenChord> chords, const BassLine& line,
                                    const Meter& meter, bool slashes);

}  // namespace undersong::song
