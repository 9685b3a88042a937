// What each musician of a band gets from a form: the bass part, a piano reduction below the melody, the
// string section, the lead sheet for transposing instruments, a page of chords, and the full score.
//
//   for (File& file : band_files(form, harmony::PadStyle::kStill).files) ...
//
// The bass is written an octave higher than it sounds, E1 to G4; it has the chord symbols above. It plays
// what the passes have in common, with slashes in bars where they have nothing (bass_voice.h). The piano
// reduction has the chords in close position and the bass below. Instruments in B flat read the lead sheet a
// whole tone higher, instruments in E flat a major sixth higher. The page of chords has slashes, four bars a
// line.
//
// Units: Ticks and MIDI keys, as in form.h.
// Threads: pure functions; call them from any thread.
// Errors: none; all functions are total. Layers that are silent in a part have rests there.
// Source: common practice, no source.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "daemon/song/string_parts.h"

namespace undersong::song {

struct File {
  std::string name;  // without the folder
  std::vector<std::uint8_t> bytes;
};

inline std::vector<std::uint8_t> bytes_of(const std::string& text) {
  return {text.begin(), text.end()};
}

// Forms of the shape of `form` whose melody is what the instrument plays.
Form bass_part(const Form& form);
Form piano_right_hand(const Form& form);
Form piano_left_hand(const Form& form);
// `semitones`: how much higher it is written, 0 to 11. The signature has at most six accidentals.
Form transposed(const Form& form, int semitones);

struct BandFiles {
  std::vector<File> files;
  StringParts strings;
};
BandFiles band_files(const Form& form, const StringsWish& wish);

}  // namespace undersong::song
