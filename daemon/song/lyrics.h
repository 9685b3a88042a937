// Words under a tune, as lyricists write them: words are separated by spaces, the syllables of a word by "-",
// and each "_" lets the syllable before it go on over one more note.
//
//   "eve-ning light _ _ on the wa-_-ter"
//
// In the first line of a song, what stands before a bar line "|" is sung in the pickup:
//
//   "now the | eve-ning light"
//
// Units: none.
// Threads: pure functions; call them from any thread.
// Errors: one sentence, without where it is.
// Source: common practice, no source.
#pragma once

#include <span>
#include <string_view>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/song/form.h"

namespace undersong::song {

// One for each note. The first has a text.
Result<std::vector<Syllable>> syllables_of(std::string_view words);

struct PickupWords {
  std::string_view pickup, rest;  // pickup: empty where there is no bar line
};
PickupWords pickup_words(std::string_view line);

// Lays the words of a section under its tune: the first line under the first time, and so on. `parts`: all
// parts of the section; `round`: how many of them are one time through it. REQUIRES: round divides the number
// of parts; with one part, its own repeats are the times.
Result<void> lay_lyrics(std::span<Part> parts, std::size_t round, const std::vector<std::string>& lines);

}  // namespace undersong::song
