#include "daemon/song/take_study.h"

#include <algorithm>

#include "daemon/song/bass_line.h"
#include "daemon/song/grouping.h"
#include "daemon/song/melody_line.h"

namespace undersong::song {

TakeStudy study_take(const Played& played, const takes::StudyReached& reached) {
  TakeStudy out{takes::study_of(played.events, played.said, played.keys, reached), {}, {}, {}, {}, {}};
  Micros end{};
  for (const midi::Event& event : played.events) end = std::max(end, event.at);  // pedal events need bars too
  out.melody = melody_line(out.take);
  out.bass = bass_line(out.take);
  out.bars = bars_of(out.take, out.beats, out.carries ? out.loop : std::nullopt, end);
  if (out.bars.pulse) {
    out.bars.beat = beat_value(out.bars.meter, out.beats.feel.division, out.bars.seconds_a_beat);
    out.bars.groups = groups_played(out.take.notes, out.bars);
  }
  if (out.loop) out.cycle = cycle_of(*out.loop, out.bars, out.melody);
  for (const auto& other : out.others) out.other_cycles.push_back(cycle_of(other.loop, out.bars, out.melody));
  return out;
}

}  // namespace undersong::song
