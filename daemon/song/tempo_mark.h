// The range of tempos that are written down: 30 to 300 beats per minute. It rules tempo marks on pages,
// steady tempos that somebody asks for, and the tempo of a song's MIDI file. A MIDI file that follows the
// player keeps the player's own time, however slow a single beat was.
//
// Units: beats per minute.
// Threads: any; pure functions.
// Errors: none; all functions are total.
// Source: common practice, no source; metronomes go from about 40 to 208.
#pragma once

#include <algorithm>

namespace undersong::song {

inline constexpr double kSlowestMark = 30, kFastestMark = 300;

constexpr bool is_tempo_mark(double tempo) {  // false for what is not a number
  return tempo >= kSlowestMark && tempo <= kFastestMark;
}

// A tempo that was found rather than asked for, brought into the range.
constexpr double as_tempo_mark(double tempo) {
  return std::clamp(tempo, kSlowestMark, kFastestMark);
}

}  // namespace undersong::song
