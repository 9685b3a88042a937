// What a section of a sketch does to the parts that were drawn from its take.
//
// Units: Ticks from the beginning of a part; semitones.
// Threads: pure functions; call them from any thread.
// Errors: the end of a sentence about the section.
// Source: common practice, no source.
#pragma once

#include <vector>

#include "daemon/base/result.h"
#include "daemon/song/form.h"
#include "daemon/song/sketch.h"
#include "daemon/song/take_study.h"

namespace undersong::song {

// Tempo, feel, signs and ending. `feel`: of the section, or else of the song.
void mark(const SketchSection& section, Feel feel, std::vector<Part>& parts);

// A melody of another length: it is repeated, and cut at the end.
std::vector<WrittenNote> fitted(const std::vector<WrittenNote>& notes, Ticks length, Ticks wanted);

// Lets the last note last to the end, for a fermata, if it begins in the last bar. `bar`: the length of a
// bar.
void hold_last(Part& part, Ticks bar);

// Chords with a rhythm and a length of their own; the tune is fitted to them.
Result<void> lay_chords(const SketchSection& section, const TakeStudy& from, std::vector<Part>& parts);

// Bars of another length than the take's, all of them whole: the last chord lasts to the end of the last bar.
// Endings, which begin at a bar line of the take, are left out, and so is a bass with bars of slashes.
// Nothing happens to a part without a pulse. `bar`: the length of a bar.
void bar_anew(Part& part, Ticks bar);

// Sets how often a part is played. Endings keep their times; further repeats go through the same cycle of
// endings again.
void repeat(Part& part, int times);

Result<void> transpose_part(Part& part, int by);

}  // namespace undersong::song
