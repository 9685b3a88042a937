#include "daemon/server/find_wire.h"

#include <algorithm>

#include "daemon/server/wire.h"
#include "daemon/takes/take_times.h"

namespace undersong::server {
namespace {

constexpr Micros kUsualLength{250'000};
constexpr std::int64_t kHundredth = 10'000;
// Times of a client are brought into this range, so that adding them is safe.
constexpr std::int64_t kLatest = std::int64_t{24} * 3600 * 1'000'000;

std::int64_t bounded(std::int64_t time) {
  return std::clamp<std::int64_t>(time, 0, kLatest);
}

}  // namespace

Result<takes::FindQuery> query_of(const std::vector<protocol::AskedNote>& notes) {
  std::vector<midi::Event> events;
  for (const auto& note : notes) {
    const Micros at(bounded(note.at));
    const Micros length = note.length_us ? Micros(bounded(*note.length_us)) : kUsualLength;
    events.push_back(midi::note_on(at, 0, Pitch(static_cast<int>(note.pitch.value)), Velocity(80)));
    events.push_back(
        midi::note_off(at + std::max(length, Micros(1)), 0, Pitch(static_cast<int>(note.pitch.value))));
  }
  // A key that is released and struck at the same time is released first.
  std::stable_sort(events.begin(), events.end(), [](const midi::Event& a, const midi::Event& b) {
    return a.at != b.at ? a.at < b.at : a.kind() < b.kind();
  });
  return takes::find_query(std::move(events));
}

Result<takes::FindQuery> query_of(const protocol::FindPlayed& wish, const takes::Store::Midi& take) {
  const auto& about = take.detail.summary;
  const Micros end = take.events.empty() ? about.at : take.events.back().at;
  const bool said = wish.from_us || wish.to_us || wish.last_us;
  Micros from = said ? about.at : takes::last_phrase(take.events), to = end;
  if (wish.from_us) from = about.at + Micros(bounded(*wish.from_us));
  if (wish.to_us) to = about.at + Micros(bounded(*wish.to_us));
  if (wish.last_us) from = end - Micros(bounded(*wish.last_us));
  std::vector<midi::Event> part;
  for (const midi::Event& event : take.events)
    if (event.at >= from && event.at <= to) part.push_back(event);
  auto query = takes::find_query(std::move(part));
  if (query) query->of = about.take;
  return query;
}

protocol::FoundTakes found_takes_of(const takes::FoundPlaces& found, std::size_t notes) {
  protocol::FoundTakes out;
  out.notes = notes;
  out.takes = found.takes;
  out.unprepared = found.unprinted;
  for (const auto& place : found.places) {
    protocol::FoundTake one;
    one.take = place.found.take;
    one.title = place.title;
    if (place.content) one.content = content_of(*place.content);
    one.begin_utc_ms = place.begin_utc_ms;
    one.from_us = place.found.from * kHundredth;
    one.length_us = (place.found.to - place.found.from) * kHundredth;
    switch (place.found.as) {
      case takes::FoundAs::kTune: one.as = protocol::FoundAs::kTune; break;
      case takes::FoundAs::kChords: one.as = protocol::FoundAs::kChords; break;
      case takes::FoundAs::kPassage: one.as = protocol::FoundAs::kPassage; break;
    }
    one.times = std::clamp(place.found.times, 1, 100'000);
    one.shift = place.found.shift;
    one.rate = place.found.rate;
    for (const takes::FoundSpan& other : place.found.others)
      one.others.push_back({other.from * kHundredth, (other.to - other.from) * kHundredth});
    out.found.push_back(std::move(one));
  }
  return out;
}

}  // namespace undersong::server
