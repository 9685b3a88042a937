#include "daemon/takes/played_notes.h"

#include <algorithm>
#include <map>
#include <optional>
#include <tuple>

namespace undersong::takes {
namespace {

constexpr std::uint8_t kSustain = 64;

bool is_drum(const midi::Event& event) {
  return event.channel() == midi::kDrumChannel;
}
bool strikes_a_key(const midi::Event& event) {
  return event.size == 3 && event.kind() == midi::kNoteOn && event.bytes[2] > 0 && !is_drum(event);
}

}  // namespace

PlayedNotes played_notes(const std::vector<midi::Event>& events) {
  PlayedNotes out;
  // Port, channel, key: index into notes.
  std::map<std::tuple<std::uint8_t, std::uint8_t, std::uint8_t>, std::size_t> down;
  bool pedal = false;
  for (const midi::Event& event : events) {
    if (event.size != 3 || is_drum(event)) continue;
    const std::uint8_t kind = event.kind();
    if (kind == midi::kNoteOn || kind == midi::kNoteOff) {
      const auto key = std::tuple(static_cast<std::uint8_t>(event.port), event.channel(), event.bytes[1]);
      if (const auto found = down.find(key); found != down.end()) {
        out.notes[found->second].length = event.at - out.notes[found->second].at;
        down.erase(found);
      }
      if (!strikes_a_key(event)) continue;
      down[key] = out.notes.size();
      out.notes.push_back({event.at, Micros(0), Pitch(event.bytes[1]), Velocity(event.bytes[2])});
    } else if (kind == midi::kControlChange && event.bytes[1] == kSustain &&
               (event.bytes[2] >= 64) != pedal) {
      pedal = !pedal;
      out.pedal.push_back({event.at, pedal});
    }
  }
  for (const auto& [key, place] : down) out.notes[place].length = events.back().at - out.notes[place].at;
  std::stable_sort(out.notes.begin(), out.notes.end(),
                   [](const PlayedNote& a, const PlayedNote& b) { return a.at < b.at; });
  return out;
}

Thumbnail thumbnail(const std::vector<midi::Event>& events, Micros begin, Micros length, std::size_t spans) {
  Thumbnail out;
  out.spans.resize(spans);
  if (spans == 0) return out;
  const std::int64_t whole = std::max<std::int64_t>(1, length.count());
  for (const midi::Event& event : events) {
    if (!strikes_a_key(event)) continue;
    const std::int64_t place = (event.at - begin).count() * static_cast<std::int64_t>(spans) / whole;
    auto& span = out.spans[static_cast<std::size_t>(
        std::clamp<std::int64_t>(place, 0, static_cast<std::int64_t>(spans) - 1))];
    const Pitch pitch(event.bytes[1]);
    if (span.notes == 0 || pitch < span.lowest) span.lowest = pitch;
    if (span.notes == 0 || pitch > span.highest) span.highest = pitch;
    ++span.notes;
  }
  return out;
}

}  // namespace undersong::takes
