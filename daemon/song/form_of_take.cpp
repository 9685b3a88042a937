// The form of a take: what lies outside the loop, and the sections over it, folded.
#include <algorithm>
#include <cmath>

#include "daemon/song/fold.h"
#include "daemon/song/form.h"
#include "daemon/song/melody_line.h"
#include "daemon/song/spell_form.h"
#include "daemon/song/strain.h"

namespace undersong::song {
namespace {

constexpr double kShortestLoop = 3;  // beats

Part plain_part(Strain strain) {
  Part part;
  part.free = strain.free;
  part.length = strain.length;
  part.chords = std::move(strain.chords);
  part.melody = std::move(strain.melody);
  part.begin = strain.begin;
  part.end = strain.end;
  return part;
}

void add_outside(Form& form, const Heard& heard, std::size_t first, std::size_t last, bool front, std::string name) {
  if (first >= last) return;
  Part part = plain_part(write_stretch(heard, first, last, front));
  part.name = std::move(name);
  part.kind = part.melody.empty() ? takes::SectionKind::kAccompaniment : takes::SectionKind::kDeveloped;
  form.parts.push_back(std::move(part));
}

void add_sections(Form& form, const Heard& heard, const takes::Loop& loop, const takes::Sections& sections) {
  const auto& spans = heard.take.spans;
  const Cycle cycle = cycle_of(loop, heard.bars, heard.melody);
  const auto span_at = [&](Micros t) {
    return static_cast<std::size_t>(std::lower_bound(spans.begin(), spans.end(), t, [](const takes::ChordSpan& s, Micros at) { return s.begin < at; }) - spans.begin());
  };
  std::size_t done = 0;  // spans that are written
  for (const takes::Section& section : sections.sections) {
    std::vector<Strain> strains;
    bool named = false;
    int strain_number = 0;
    const auto flush = [&] {
      for (Part& part : fold(strains, form.meter)) {
        if (part.length <= Ticks(0)) continue;
        part.label = section.label;
        part.kind = section.kind;
        part.name = ++strain_number == 1 ? section.label : section.label + std::to_string(strain_number);
        form.parts.push_back(std::move(part));
      }
      strains.clear();
      named = true;
    };
    for (std::size_t i = section.first; i < section.first + section.count; ++i) {
      const takes::LoopPass& pass = loop.passes[i];
      const std::size_t first = span_at(pass.begin);
      if (first > done) {
        if (!strains.empty()) flush();
        add_outside(form, heard, done, first, true, form.parts.empty() ? "Intro" : "Interlude");
      }
      strains.push_back(write_pass(heard, loop, pass, cycle));
      done = std::max(done, span_at(pass.end));
    }
    flush();
  }
  add_outside(form, heard, done, spans.size(), false, "Outro");
}

// Without a loop: from bar line to bar line, a new part where bars break off or where the pulse comes or goes.
void add_linear(Form& form, const Heard& heard) {
  const auto& spans = heard.take.spans;
  const Bars& bars = heard.bars;
  if (!bars.pulse) {
    add_outside(form, heard, 0, spans.size(), false, "");
    return;
  }
  std::size_t b = 0, s = 0;
  while (b < bars.bars.size()) {
    std::size_t to = b + 1;
    while (to < bars.bars.size() && bars.free[to] == bars.free[b] && bars.bars[to - 1].beats == form.meter) ++to;
    const Ticks begin = bars.bars[b].at, end = to < bars.bars.size() ? bars.bars[to].at : bars.end();
    const std::size_t first = s;
    while (s < spans.size() && Ticks(480 * std::llround(heard.bars.map.beats_at(spans[s].begin))) < end) ++s;
    Strain strain;
    if (!bars.free[b]) strain = write_bars(heard, begin, end);
    else if (s > first) strain = write_stretch(heard, first, s, true);
    if (strain.length > Ticks(0)) form.parts.push_back(plain_part(std::move(strain)));
    b = to;
  }
}

}  // namespace

bool carries_form(const takes::HeardTake& take, const takes::Loop& loop) {
  if (loop.chords.size() < 2 || take.spans.empty()) return false;
  double beats = 0;
  for (const takes::LoopChord& chord : loop.chords) beats += chord.beats;
  if (beats > 0 && beats < kShortestLoop) return false;
  Micros inside{};
  for (const takes::LoopPass& pass : loop.passes) inside += pass.end - pass.begin;
  return 2 * inside >= take.spans.back().end - take.spans.front().begin;
}

Result<Form> form_of_take(const takes::HeardTake& take, const takes::Beats& beats, const std::optional<takes::Loop>& found,
                          const takes::Sections& sections) {
  const std::optional<takes::Loop> loop = found && carries_form(take, *found) ? found : std::nullopt;
  if (take.notes.empty()) return invalid_input("There are no notes in this take.");
  if (take.notes.size() == 1) return invalid_input("There is only one note in this take; a form needs chords and a melody.");
  if (take.spans.empty()) return invalid_input("No chord was heard in this take, so there are no changes to write down.");
  Micros end{};
  for (const takes::PlayedNote& note : take.notes) end = std::max(end, note.at + note.length);
  const auto melody = melody_line(take);
  const Bars bars = bars_of(take, beats, loop, end);
  const Heard heard{take, melody, bars};
  Form form;
  form.meter = bars.meter;
  form.pulse = bars.pulse;
  if (bars.pulse) form.tempo = 60 / bars.seconds_a_beat;
  if (loop && !sections.sections.empty()) add_sections(form, heard, *loop, sections);
  else add_linear(form, heard);
  for (Part& part : form.parts)
    if (part.melody.empty()) part.layers.melody = false;
  spell_form(form, take.key, take.key_pinned);
  return form;
}

}  // namespace undersong::song
