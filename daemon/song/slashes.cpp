#include "daemon/song/slashes.h"

#include <algorithm>

namespace undersong::song {
namespace {

constexpr Velocity kSoft{60};

}  // namespace

std::vector<WrittenNote> slashes(std::span<const WrittenChord> chords, Ticks from, Ticks to,
                                 const Meter& meter, SlashLine line) {
  std::vector<Ticks> places;
  const auto edges = meter.edges(meter.bar());
  for (Ticks bar = from - from % meter.bar(); bar < to; bar += meter.bar())
    for (std::size_t i = 0; i + 1 < edges.size(); ++i)
      if (bar + edges[i + 1] > from && bar + edges[i] < to) places.push_back(std::max(bar + edges[i], from));
  for (const WrittenChord& chord : chords)
    if (chord.at > from && chord.at < to && chord.at % grid(meter.value) == Ticks(0))
      places.push_back(chord.at);
  std::sort(places.begin(), places.end());
  places.erase(std::unique(places.begin(), places.end()), places.end());
  std::vector<WrittenNote> out;
  for (std::size_t i = 0; i < places.size(); ++i) {
    WrittenNote slash;
    slash.pitch = Pitch(line == SlashLine::kTreble ? 71 : 38);           // B4; D2, which is written D3
    slash.name = harmony::NoteName(line == SlashLine::kTreble ? 5 : 2);  // B, D
    slash.at = places[i];
    slash.length = (i + 1 < places.size() ? places[i + 1] : to) - places[i];
    slash.velocity = kSoft;
    slash.slash = true;
    out.push_back(std::move(slash));
  }
  return out;
}

Form with_slashes(const Form& form, bool only_without_tune) {
  Form out = form;
  for (Part& part : out.parts) {
    const Meter meter = meter_of(form, part);
    const bool tune = !part.melody.empty() || std::any_of(part.endings.begin(), part.endings.end(),
                                                          [](const Ending& e) { return !e.melody.empty(); });
    if (only_without_tune && (tune || !part.layers.chords)) continue;
    const auto play = [&](const std::vector<WrittenChord>& chords, Ticks from, Ticks to) {
      return part.layers.chords && !chords.empty() ? slashes(chords, from, to, meter, SlashLine::kTreble)
                                                   : std::vector<WrittenNote>();
    };
    part.melody = play(part.chords, Ticks(0), part.length);
    for (Ending& ending : part.endings)
      ending.melody = play(ending.chords, ending.from, ending.from + ending.length);
  }
  return out;
}

}  // namespace undersong::song
