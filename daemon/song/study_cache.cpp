#include "daemon/song/study_cache.h"

#include <algorithm>

#include "daemon/takes/take_times.h"

namespace undersong::song {

// Clamps times from a damaged or manipulated line to the take.
Played own_time(const takes::Store::Midi& take) {
  const takes::Span span = takes::span_of(take.detail.summary);
  Played out{take.events, take.said, take.detail.keys};
  for (midi::Event& event : out.events) event.at = std::max(Micros(0), span.within(event.at) - span.from);
  for (auto* lines : {&out.said, &out.keys})
    for (takes::Line& line : *lines) line.at = span.within(line.at) - span.from;
  return out;
}

std::shared_ptr<const TakeStudy> StudyCache::of(const takes::Store::Midi& take) {
  const auto& summary = take.detail.summary;
  for (auto it = remembered_.begin(); it != remembered_.end(); ++it)
    if (it->take == summary.take && it->last_line == summary.last_line && it->said == take.said.size()) {
      remembered_.splice(remembered_.begin(), remembered_, it);
      return it->study;
    }
  const StudyProgress::Under under(progress_, summary.take);
  auto made = std::make_shared<const TakeStudy>(
      study_take(own_time(take), [this](double share) { progress_.reach(share); }));
  remembered_.remove_if([&](const Remembered& known) { return known.take == summary.take; });
  remembered_.push_front({summary.take, summary.last_line, take.said.size(), made});
  if (remembered_.size() > kRemembered) remembered_.pop_back();
  return made;
}

}  // namespace undersong::song
