#include "daemon/takes/midi_export.h"

#include "daemon/midi/smf.h"

namespace undersong::takes {

Result<std::vector<std::uint8_t>> standard_midi_file(const Store::Midi& take) {
  const Summary& summary = take.detail.summary;
  std::vector<midi::Event> events = take.events;
  for (midi::Event& event : events) event.at -= summary.at;
  const std::string name = summary.title.empty() ? "Take " + std::to_string(summary.take) : summary.title;
  midi::Smf file = midi::smf_from_events(events, name);
  const midi::TickClock clock(file.division, file.tempos);
  for (const Line& line : take.detail.marks)
    file.markers.push_back({clock.nearest_tick(line.at - summary.at), line.at - summary.at,
                            midi::SmfText::Kind::kMarker, 0, line.data.empty() ? "mark" : line.data});
  return midi::write_smf(file);
}

}  // namespace undersong::takes
