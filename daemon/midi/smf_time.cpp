// TickClock, and the order in which a file's events sound.
#include <algorithm>

#include "daemon/midi/smf.h"

namespace undersong::midi {

TickClock::TickClock(SmfDivision division, std::span<const SmfTempo> tempos) {
  if (division.smpte()) {
    const std::uint64_t per_frame = std::max<std::uint64_t>(division.ticks_per_frame, 1);
    // 29 means 30000/1001 frames per second, so a tick lasts 100100 / (3 * per_frame) microseconds.
    const bool drop_frame_rate = division.frames_per_second == 29;
    denominator_ = drop_frame_rate ? 3 * per_frame : division.frames_per_second * per_frame;
    segments_.push_back({0, 0, drop_frame_rate ? std::uint64_t{100'100} : std::uint64_t{1'000'000}});
    return;
  }
  denominator_ = std::max<std::uint64_t>(division.ticks_per_quarter, 1);
  std::vector<SmfTempo> sorted(tempos.begin(), tempos.end());
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const auto& a, const auto& b) { return a.tick < b.tick; });
  segments_.push_back({0, 0, kDefaultTempo});
  for (const SmfTempo& tempo : sorted) {
    const std::uint64_t step = std::clamp<std::uint64_t>(tempo.micros_per_quarter, 1, 0xFF'FFFF);
    const Tick tick = std::min(tempo.tick, kLongestTick);
    Segment& last = segments_.back();
    if (tick == last.tick) {
      last.step = step;
    } else {
      segments_.push_back({tick, last.start + (tick - last.tick) * last.step, step});
    }
  }
}

Micros TickClock::at(Tick tick) const {
  tick = std::min(tick, kLongestTick);
  const auto after = std::upper_bound(segments_.begin(), segments_.end(), tick,
                                      [](Tick t, const Segment& segment) { return t < segment.tick; });
  const Segment& segment = *(after - 1);
  return Micros((segment.start + (tick - segment.tick) * segment.step) / denominator_);
}

Tick TickClock::nearest_tick(Micros at) const {
  if (at.count() <= 0) return 0;
  if (at >= this->at(kLongestTick)) return kLongestTick;
  const std::uint64_t wanted = static_cast<std::uint64_t>(at.count()) * denominator_;
  const auto after =
      std::upper_bound(segments_.begin(), segments_.end(), wanted,
                       [](std::uint64_t w, const Segment& segment) { return w < segment.start; });
  const Segment& segment = *(after - 1);
  return segment.tick + (wanted - segment.start + segment.step / 2) / segment.step;
}

std::vector<Event> merged_events(const Smf& file) {
  std::vector<const SmfEvent*> order;
  for (const SmfTrack& track : file.tracks) {
    for (const SmfEvent& event : track.events) order.push_back(&event);
  }
  std::stable_sort(order.begin(), order.end(),
                   [](const SmfEvent* a, const SmfEvent* b) { return a->tick < b->tick; });
  std::vector<Event> merged;
  merged.reserve(order.size());
  for (const SmfEvent* event : order) merged.push_back({event->at, event->bytes, event->size, PortNumber{0}});
  return merged;
}

}  // namespace undersong::midi
