#include "daemon/song/about_of.h"

#include <algorithm>
#include <cmath>

#include "daemon/harmony/chord_symbol.h"

namespace undersong::song {
namespace {

takes::AboutLoop about_of(const takes::Loop& loop) {
  takes::AboutLoop out;
  for (const takes::LoopChord& chord : loop.chords)
    out.chords.push_back(harmony::harte(chord.chord, chord.root));
  for (const takes::LoopPass& pass : loop.passes)
    out.passes.push_back({std::max(Micros(0), pass.begin), pass.end - std::max(Micros(0), pass.begin),
                          pass.transposed, pass.variant});
  return out;
}

}  // namespace

takes::TakeAbout about_of(const TakeStudy& study) {
  takes::TakeAbout out;
  if (study.bars.pulse) {
    out.content.tempo = std::round(60 / study.bars.seconds_a_beat * 10) / 10;
    out.meter = study.bars.meter;
  }
  if (!study.loop) return out;
  out.loops.push_back(about_of(*study.loop));
  for (const takes::OtherLoop& other : study.others) out.loops.push_back(about_of(other.loop));
  out.content.chords = out.loops.front().chords;
  out.content.times = static_cast<int>(out.loops.front().passes.size());
  return out;
}

}  // namespace undersong::song
