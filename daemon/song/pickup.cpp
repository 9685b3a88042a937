#include "daemon/song/pickup.h"

#include <algorithm>
#include <cmath>

namespace undersong::song {
namespace {

// A silence before the first beat that was heard has beats of another length, which would bend the rhythm of
// a pickup.
BeatMap without_lead_in(const Bars& bars) {
  auto anchors = bars.map.anchors();
  if (!bars.free.empty() && bars.free.front() && anchors.size() > 2 && anchors.front().at == Micros(0))
    anchors.erase(anchors.begin());
  return BeatMap(std::move(anchors));
}

template <class T>
void begin_at(std::vector<T>& items, Ticks at) {
  for (T& item : items) item.at -= at;
}

}  // namespace

std::optional<Part> pickup_before(const Heard& heard, Ticks bar) {
  if (!heard.bars.pulse || heard.take.notes.empty()) return std::nullopt;
  const Meter meter = heard.bars.written();
  const Ticks step = grid(meter.value);
  Bars early = heard.bars;
  early.map = without_lead_in(heard.bars);
  const double first = bar.beats() - early.map.beats_at(heard.take.notes.front().at);
  // Half a step may be a stroke that comes early.
  if (first < .5 * step.beats() || first > (meter.bar() - step).beats() + .3 * step.beats())
    return std::nullopt;
  const Heard before{heard.take, heard.melody, early, heard.bass};
  // A tune alone has no harmony, whatever its notes make the ear believe.
  const Micros until = heard.bars.map.time_at(bar - Ticks(step.count() / 2));
  const bool alone =
      std::all_of(heard.take.notes.begin(), heard.take.notes.end(), [&](const takes::PlayedNote& note) {
        return note.at >= until ||
               std::any_of(heard.melody.begin(), heard.melody.end(), [&](const takes::PlayedNote& sung) {
                 return sung.at == note.at && sung.pitch == note.pitch;
               });
      });
  const Ticks from = bar - static_cast<std::int64_t>(std::ceil(first - .3 * step.beats())) * kBeat;
  Strain strain = write_bars(before, from, bar);
  if (alone) strain.chords.clear(), strain.bass.clear();
  Ticks begins = strain.length;
  for (const auto& note : strain.melody) begins = std::min(begins, note.at);
  for (const auto& note : strain.bass) begins = std::min(begins, note.at);
  begins -= begins % step;
  if (begins >= strain.length) return std::nullopt;
  Part out;
  out.name = "Pickup";
  out.pickup = true;
  out.length = strain.length - begins;
  for (WrittenChord& chord : strain.chords)
    if (chord.at < begins && chord.at + chord.length > begins)
      chord.length -= begins - chord.at, chord.at = begins;
  std::erase_if(strain.chords, [&](const WrittenChord& chord) { return chord.at < begins; });
  begin_at(strain.chords, begins), begin_at(strain.melody, begins), begin_at(strain.bass, begins);
  out.chords = std::move(strain.chords);
  out.melody = std::move(strain.melody);
  out.bass.notes = std::move(strain.bass);
  out.layers.pad = false;
  out.begin = std::max(Micros(0), early.map.time_at(from + begins));
  out.end = heard.bars.map.time_at(bar);
  return out;
}

}  // namespace undersong::song
