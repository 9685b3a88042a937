#include "daemon/takes/study.h"

#include <algorithm>
#include <map>

#include "daemon/takes/corrected_beats.h"

namespace undersong::takes {
namespace {

constexpr double kShortestLoop = 3;  // beats
// How much of the work is done when the take was heard, and when its beats are found: measured with takes of
// three to forty-five minutes.
constexpr double kHeardAt = .15, kBeatsAt = .82;

constexpr std::size_t kLeastPasses = 4;
constexpr Micros kOnBeat{60'000};
constexpr float kCounted = .25f;  // just above the doubt

// Where few notes are struck, beats that fit them prove little. A loop proves more: chords that come back
// after the same number of whole bars, time after time, were counted.
bool was_counted(const Loop& loop, const Beats& beats) {
  if (loop.confidence < .75f || loop.passes.size() < kLeastPasses || beats.beats.size() < 2) return false;
  std::vector<std::ptrdiff_t> begins;  // the beat on which each pass begins
  std::size_t on_beat = 0;
  for (const LoopPass& pass : loop.passes) {
    const auto after = std::lower_bound(beats.beats.begin() + 1, beats.beats.end() - 1, pass.begin,
                                        [](const Beat& beat, Micros at) { return beat.at < at; });
    const auto nearest = pass.begin - (after - 1)->at < after->at - pass.begin ? after - 1 : after;
    begins.push_back(nearest - beats.beats.begin());
    if (std::chrono::abs(nearest->at - pass.begin) <= kOnBeat) ++on_beat;
  }
  std::map<std::ptrdiff_t, std::size_t> lengths;
  for (std::size_t i = 1; i < begins.size(); ++i) ++lengths[begins[i] - begins[i - 1]];
  const auto usual = std::max_element(lengths.begin(), lengths.end(),
                                      [](const auto& a, const auto& b) { return a.second < b.second; });
  return usual->first > 0 && usual->first % beats.meter == 0 && 10 * on_beat >= 9 * begins.size() &&
         10 * usual->second >= 9 * (begins.size() - 1);
}

}  // namespace

bool carries_form(const HeardTake& take, const Loop& loop, const std::vector<OtherLoop>& others) {
  if (loop.chords.size() < 2 || take.spans.empty()) return false;
  double beats = 0;
  for (const LoopChord& chord : loop.chords) beats += chord.beats;
  if (beats > 0 && beats < kShortestLoop) return false;
  Micros inside{};
  for (const LoopPass& pass : loop.passes) inside += pass.end - pass.begin;
  for (const OtherLoop& other : others)
    for (const LoopPass& pass : other.loop.passes) inside += pass.end - pass.begin;
  return 2 * inside >= take.spans.back().end - take.spans.front().begin;
}

Study study_of(const std::vector<midi::Event>& events, const std::vector<Line>& said,
               const std::vector<Line>& keys, const StudyReached& reached) {
  const auto reach = [&](double share) {
    if (reached) reached(share);
  };
  Study out;
  out.take = hear(events, keys, said, [&](double share) { reach(kHeardAt * share); });
  reach(kHeardAt);
  const Beats first =
      first_beats(out.take, [&](double share) { reach(kHeardAt + share * (kBeatsAt - kHeardAt)); });
  out.beats = corrected(first, said);
  reach(kBeatsAt);
  auto loops = find_loops(out.take, out.beats);
  if (loops.empty()) return out;
  if (!out.beats.pulse() && was_counted(loops.front(), out.beats)) {
    out.beats.confidence = kCounted;
    loops = find_loops(out.take, out.beats);
    if (loops.empty()) return out;
  }
  out.loop = std::move(loops.front());
  out.sections = find_sections(out.take, *out.loop);
  std::size_t letters = letters_of(out.sections);
  for (std::size_t i = 1; i < loops.size(); ++i) {
    Sections sections = find_sections(out.take, loops[i], letters);
    letters += letters_of(sections);
    out.others.push_back({std::move(loops[i]), std::move(sections)});
  }
  out.carries = carries_form(out.take, *out.loop, out.others);
  if (out.carries) {
    std::vector<const Loop*> all{&*out.loop};
    for (const OtherLoop& other : out.others) all.push_back(&other.loop);
    out.beats = without_free_playing(out.beats, all);
  }
  return out;
}

}  // namespace undersong::takes
