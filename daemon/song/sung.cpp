#include "daemon/song/sung.h"

#include <algorithm>
#include <map>

namespace undersong::song {
namespace {

using takes::HeardTake;

struct Note {
  Micros begin{}, end{};
  Pitch pitch;
};

// The melody notes as one voice, with the time for which they sound.
std::vector<Note> sounding(const HeardTake& take) {
  constexpr Micros kSameNote{150'000};
  std::vector<Note> out;
  for (std::size_t i = 0; i < take.melody.size(); ++i) {
    const auto& heard = take.melody[i];
    const Micros next = i + 1 < take.melody.size() ? take.melody[i + 1].at : heard.at + Micros(60'000'000);
    Micros end = heard.at;
    auto it = std::lower_bound(take.notes.begin(), take.notes.end(), heard.at - kSameNote,
                               [](const takes::PlayedNote& n, Micros t) { return n.at < t; });
    for (; it != take.notes.end() && it->at <= heard.at + kSameNote; ++it)
      if (it->pitch == heard.pitch) end = std::max(end, it->at + it->length);
    end = std::min(end, next);
    if (end > heard.at) out.push_back({heard.at, end, heard.pitch});
  }
  return out;
}

}  // namespace

bool Sung::silent() const {
  return std::none_of(spans.begin(), spans.end(), [](const SungSpan& span) { return span.top.has_value(); });
}

Sung sung(const HeardTake& take, const takes::Loop& loop, const takes::Sections& sections,
          std::string_view label) {
  // In beats or seconds: a note released slightly late or struck slightly early.
  constexpr double kSliver = .12;
  Sung out;
  out.section = label;
  out.spans.resize(loop.chords.size());
  const std::vector<Note> notes = sounding(take);
  std::vector<std::map<Pitch, double>> keys(loop.chords.size());
  std::vector<std::array<int, 12>> long_times(loop.chords.size());
  std::vector<int> times(loop.chords.size(), 0);
  const bool beats = !loop.chords.empty() && loop.chords.front().beats > 0;
  const auto counts = [&](std::size_t p) {
    return label.empty() || sections.sections[sections.of_pass[p]].label == label;
  };
  // A place that always had another chord in these passes keeps its melody.
  std::vector<bool> always_other(loop.chords.size(), true);
  for (std::size_t p = 0; p < loop.passes.size(); ++p)
    for (std::size_t c = 0; c < loop.chords.size(); ++c) {
      const auto& place = loop.passes[p].places[c];
      if (counts(p) && place.end > place.begin && !place.instead) always_other[c] = false;
    }
  for (std::size_t p = 0; p < loop.passes.size(); ++p) {
    const auto& pass = loop.passes[p];
    if (!counts(p)) continue;
    ++out.passes;
    for (std::size_t c = 0; c < loop.chords.size(); ++c) {
      const auto& place = pass.places[c];
      if (place.end <= place.begin || (place.instead && !always_other[c])) continue;
      ++times[c];
      const double scale =
          beats && loop.chords[c].beats > 0 ? loop.chords[c].beats / seconds(place.end - place.begin) : 1;
      std::array<double, 12> here{};
      auto it = std::lower_bound(notes.begin(), notes.end(), place.begin,
                                 [](const Note& n, Micros t) { return n.end <= t; });
      for (; it != notes.end() && it->begin < place.end; ++it) {
        const double length =
            scale * seconds(std::min(it->end, place.end) - std::max(it->begin, place.begin));
        if (length < kSliver && (it->begin < place.begin || it->end > place.end)) continue;
        const Pitch pitch(it->pitch.value() - pass.transposed);
        here[static_cast<std::size_t>(pitch.pitch_class().value())] += length;
        keys[c][pitch] += length;
        out.spans[c].phrase.add(pitch.pitch_class(), static_cast<float>(length));
      }
      for (std::size_t pc = 0; pc < 12; ++pc) {
        out.spans[c].length[pc] += here[pc];
        long_times[c][pc] += here[pc] >= (beats ? .95 : .5);
      }
    }
  }
  for (std::size_t c = 0; c < loop.chords.size(); ++c) {
    SungSpan& span = out.spans[c];
    if (times[c] == 0 || keys[c].empty()) continue;
    for (double& length : span.length) length /= times[c];
    for (std::size_t pc = 0; pc < 12; ++pc)
      if (long_times[c][pc] > 0 && 3 * long_times[c][pc] >= times[c])
        span.long_notes.insert(PitchClass(static_cast<int>(pc)));
    const auto most = std::max_element(span.length.begin(), span.length.end());
    const PitchClass held(static_cast<int>(most - span.length.begin()));
    span.long_notes.insert(held);
    const auto top = std::max_element(keys[c].begin(), keys[c].end(),
                                      [](const auto& a, const auto& b) { return a.second < b.second; });
    span.top = top->first;
    span.phrase.held = held;
    span.phrase.beats = static_cast<float>(
        beats && loop.chords[c].beats > 0 ? loop.chords[c].beats : 2 * seconds(loop.chords[c].length));
  }
  return out;
}

std::string usual_section(const takes::Sections& sections) {
  std::vector<std::pair<std::string, std::size_t>> counts;
  for (const auto& section : sections.sections) {
    if (section.kind == takes::SectionKind::kAccompaniment) continue;
    const auto known =
        std::find_if(counts.begin(), counts.end(), [&](const auto& c) { return c.first == section.label; });
    if (known != counts.end())
      known->second += section.count;
    else
      counts.emplace_back(section.label, section.count);
  }
  const auto most = std::max_element(counts.begin(), counts.end(),
                                     [](const auto& a, const auto& b) { return a.second < b.second; });
  return most == counts.end() ? std::string() : most->first;
}

}  // namespace undersong::song
