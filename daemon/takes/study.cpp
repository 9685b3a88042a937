#include "daemon/takes/study.h"

#include "daemon/takes/corrected_beats.h"

namespace undersong::takes {
namespace {

constexpr double kShortestLoop = 3;  // beats

}  // namespace

bool carries_form(const HeardTake& take, const Loop& loop) {
  if (loop.chords.size() < 2 || take.spans.empty()) return false;
  double beats = 0;
  for (const LoopChord& chord : loop.chords) beats += chord.beats;
  if (beats > 0 && beats < kShortestLoop) return false;
  Micros inside{};
  for (const LoopPass& pass : loop.passes) inside += pass.end - pass.begin;
  return 2 * inside >= take.spans.back().end - take.spans.front().begin;
}

Study study_of(const std::vector<midi::Event>& events, const std::vector<Line>& said,
               const std::vector<Line>& keys) {
  Study out;
  out.take = hear(events, keys, said);
  out.beats = corrected(first_beats(out.take), said);
  out.loop = find_loop(out.take, out.beats);
  if (out.loop) {
    out.carries = carries_form(out.take, *out.loop);
    if (out.carries) out.beats = without_free_playing(out.beats, *out.loop);
    out.sections = find_sections(out.take, *out.loop);
  }
  return out;
}

}  // namespace undersong::takes
