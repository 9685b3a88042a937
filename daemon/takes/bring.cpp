#include "daemon/takes/bring.h"

#include <algorithm>

#include "daemon/listen/analysis.h"
#include "daemon/listen/meetings.h"
#include "daemon/takes/played_notes.h"

namespace undersong::takes {

Result<std::vector<midi::Event>> events_to_bring(const midi::Smf& file) {
  std::vector<midi::Event> events = midi::merged_events(file);
  const bool drums = !events.empty();
  std::erase_if(events, [](const midi::Event& event) { return event.channel() == midi::kDrumChannel; });
  const auto strikes = [](const midi::Event& event) {
    return event.kind() == midi::kNoteOn && event.size == 3 && event.bytes[2] > 0;
  };
  if (std::none_of(events.begin(), events.end(), strikes))
    return invalid_input(drums ? "It has no notes besides drums." : "It has no notes.");
  if (events.size() > kMostBroughtEvents)
    return invalid_input("It holds " + std::to_string(events.size()) + " events; a take may hold " +
                         std::to_string(kMostBroughtEvents) + ".");
  if (events.back().at > kLongestBrought) return invalid_input("It is longer than 24 hours.");
  return events;
}

std::vector<FindNote> notes_to_bring(const std::vector<midi::Event>& events) {
  return find_print(Micros{}, played_notes(events).notes, {}, {}, Micros{}).notes;
}

BroughtTake bring(const std::vector<midi::Event>& events, std::string title, std::int64_t utc_ms) {
  BroughtTake out{std::move(title), utc_ms, {}, notes_to_bring(events)};
  auto& entries = out.entries;
  entries.reserve(events.size() * 2);
  listen::Settings settings;
  settings.names_only = true;
  listen::Analysis analysis(settings);
  listen::Meetings meetings;
  meetings.begin_take(Micros{});
  const auto met = [&](std::span<const listen::Meeting> found) {
    for (const auto& each : found) entries.push_back(meeting(each));
  };
  const auto each = [&](const listen::Analysis& changed) {
    const auto& found = changed.findings();
    const auto& moment = changed.moment();
    if (found.key) entries.push_back(key_heard(moment.at, *moment.key));
    if (found.harmony) entries.push_back(chord_in_force(moment.harmony->since, moment.harmony->reading));
    const auto over = moment.harmony ? std::optional(moment.harmony->reading.chord) : std::nullopt;
    for (const auto& note : found.melody) entries.push_back(melody_note(note, over));
    met(meetings.hear(changed));
  };
  entries.push_back(take_begin(Micros{}, utc_ms));
  for (const midi::Event& event : events) {
    entries.push_back(midi_received(event));
    listen::drive(analysis, event, each);
  }
  const Micros end = events.empty() ? Micros{} : events.back().at;
  listen::drive(analysis, end, each);
  met(meetings.end_take(end));
  entries.push_back(take_end(end, EndReason::kRequest));
  return out;
}

}  // namespace undersong::takes
