// Parts for a string section under a song: violin I, violin II, viola and cello, as harmony/string_pad.h lays
// the chords out, in phrases.
//
//   const StringParts strings = string_parts(form, harmony::PadStyle::kStill);
//
// A phrase lasts two to eight bars, the length that divides its part evenly if there is one, else four bars.
// At the end of each phrase all voices have a short rest to breathe, and no note is held over it. The notes
// of a phrase are slurred. A voice rests where the tune is too low for it. Common tones are held within a
// phrase; in a chorale every chord is struck. The dynamic of a phrase follows the loudness of the tune in it,
// or the dynamic that the part has, one degree softer, and a hairpin leads from one phrase to a louder or
// softer one.
//
// Asked for divisi, violins I and violas divide where the chord has a tone that the four voices leave out:
// half of the desk plays it below the other half. "div." and "unis." say so.
//
// Units: Ticks from the beginning of each part.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total. Parts without the layer `pad` are silent.
// Source: common practice, no source.
#pragma once

#include <array>
#include <span>
#include <string>
#include <vector>

#include "daemon/harmony/string_pad.h"
#include "daemon/song/form.h"

namespace undersong::song {

inline constexpr std::array<const char*, harmony::kStrings> kStringNames{"cello", "viola", "violin II",
                                                                         "violin I"};

struct StringsWish {
  StringsWish(harmony::PadStyle as = harmony::PadStyle::kStill, bool divided = false)
      : style(as), divisi(divided) {}
  harmony::PadStyle style;
  bool divisi;
};

struct StringParts {
  // Cello first, as in harmony::StringChord. Each has the shape of the form it was made for, and its notes as
  // the melody.
  std::array<Form, harmony::kStrings> voices;
  int motion = 0, parallels = 0;  // of all chords once, in the order in which they are written
};
StringParts string_parts(const Form& form, const StringsWish& wish);

// A stretch that is played through, such as a whole take. `from` and `to` are bar lines.
struct PadStretch {
  std::span<const WrittenChord> chords;
  std::span<const WrittenNote> tune;
  Ticks from, to, bar;
  Meter meter{};
  bool silent = false;
  std::string
      dynamic{};      // of the tune: the strings are a degree softer; empty: as loud as the tune was played
  bool held = false;  // no breath at the end
};
struct PadVoices {
  std::array<std::vector<WrittenNote>, harmony::kStrings> notes;
  std::vector<Direction> directions;                            // for all voices
  std::array<std::vector<Direction>, harmony::kStrings> words;  // of one voice
};
struct PadRow {
  std::vector<PadVoices> stretches;  // one for each that was given
  int motion = 0, parallels = 0;
};
// Voices are led through all stretches in turn.
PadRow pad_row(std::span<const PadStretch> stretches, const StringsWish& wish);

}  // namespace undersong::song
