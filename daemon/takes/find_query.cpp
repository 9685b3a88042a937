#include "daemon/takes/find_query.h"

#include <algorithm>
#include <string>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/analysis.h"
#include "daemon/takes/played_notes.h"

namespace undersong::takes {

Micros last_phrase(const std::vector<midi::Event>& events) {
  Micros begin{}, newest{};
  std::optional<Micros> sounded;  // until when
  for (const PlayedNote& note : played_notes(events).notes) {
    if (!sounded || note.at - *sounded >= kFindRest) begin = note.at;
    sounded = sounded ? std::max(*sounded, note.at + note.length) : note.at + note.length;
    newest = note.at;
  }
  return std::max(begin, newest - kLongestPlayed);
}

Result<FindQuery> find_query(std::vector<midi::Event> events) {
  if (events.size() > kMostFindEvents) events.resize(kMostFindEvents);
  const auto played = played_notes(events);
  if (played.notes.empty()) return invalid_input("There are no notes to look for.");
  if (played.notes.size() < kFewestFindNotes)
    return invalid_input("There " +
                         std::string(played.notes.size() == 1 ? "is only one note" : "are only two notes") +
                         " to look for; play at least " + std::to_string(kFewestFindNotes) + ".");
  // Only from the first note on, so that a silence before it costs nothing.
  const Micros begin = played.notes.front().at;
  listen::Settings settings;
  settings.names_only = true;
  listen::Analysis analysis(settings);
  std::vector<KeptChord> chords;
  const auto each = [&](const listen::Analysis& changed) {
    if (!changed.findings().harmony) return;
    const auto& harmony = *changed.moment().harmony;
    chords.push_back({harmony.since, harmony::harte(harmony.reading.chord, harmony.reading.root_name)});
  };
  for (const midi::Event& event : events) listen::drive(analysis, event, each);
  Micros end = begin;
  for (const PlayedNote& note : played.notes) end = std::max(end, note.at + note.length);
  listen::drive(analysis, end, each);
  std::vector<KeptChord> settled;
  for (const Statement& statement : statements_of(chords, {}, {}, end))
    settled.push_back({std::max(begin, statement.at), statement.harte});
  FindQuery out;
  out.print = find_print(begin, played.notes, {}, settled, end);
  // Notes of a tune may overlap a little, and one may be struck with its neighbour by mistake.
  out.single_line = out.print.notes.size() <= out.print.top.size() + out.print.top.size() / 4;
  return out;
}

}  // namespace undersong::takes
