#include "daemon/song/sketch_grow.h"

#include <fmt/format.h>

#include <algorithm>

namespace undersong::song {
namespace {

// The first theme, verse or chorus that has its tune and after which the song goes on.
std::size_t usual_section_of(const Sketch& sketch) {
  const auto found = std::find_if(sketch.sections.begin(), sketch.sections.end(), [](const SketchSection& s) {
    const bool main =
        s.kind == SketchKind::kTheme || s.kind == SketchKind::kVerse || s.kind == SketchKind::kChorus;
    return main && s.layers.melody && s.signs.jump == Jump::kNone && !s.signs.fine;
  });
  return found == sketch.sections.end() ? 0 : static_cast<std::size_t>(found - sketch.sections.begin());
}

// What the sketch gets: chords without a tune, from the same take.
SketchSection section_of(const SketchSection& from, const GrownSection& grown) {
  SketchSection out;
  out.name = grown.bridge ? "Bridge" : "Interlude";
  out.kind = grown.bridge ? SketchKind::kBridge : SketchKind::kInterlude;
  out.source = from.source;
  out.label = from.label;
  if (!from.passes.empty()) out.passes = {from.passes.front()};
  out.span = from.span;
  out.repeats = 1;
  out.layers.melody = false;
  out.chord_line = chord_line_of(grown.chords);
  out.key = grown.key;
  out.tempo = from.tempo;
  out.meter = from.meter;
  out.feel = from.feel;
  return out;
}

// The same section for the way back, without signs and words that belong to its first time.
SketchSection again(const SketchSection& from) {
  SketchSection out = from;
  if (out.name.size() + 6 <= kLongestSketchText) out.name += " again";
  out.repeats = 1;
  out.signs = {};
  out.lyrics.clear();
  out.ritardando = out.fermata = false;
  return out;
}

bool draws_on_the_same(const SketchSection& a, const SketchSection& b) {
  return a.source == b.source && a.label == b.label && a.passes == b.passes && a.span == b.span &&
         a.transpose == b.transpose && a.chords == b.chords && a.chord_line == b.chord_line &&
         a.proposal == b.proposal;
}

// Inserts a block before this line (from 1), above comments that belong to what stands there.
std::string inserted(const std::string& text, int line, const std::string& block) {
  std::vector<std::size_t> begins{0};
  for (std::size_t i = 0; i < text.size(); ++i)
    if (text[i] == '\n') begins.push_back(i + 1);
  auto at = static_cast<std::size_t>(line - 1);
  while (at > 0 && (text[begins[at - 1]] == '#' || text[begins[at - 1]] == '\n')) --at;
  const std::string rest = text.substr(begins[at]);
  return text.substr(0, begins[at]) + "\n" + block + (rest.starts_with('\n') ? "" : "\n") + rest;
}

}  // namespace

Result<SketchGrowth> grow_sketch(const Sketch& sketch, const SourceReader& read,
                                 std::optional<std::size_t> section) {
  if (sketch.sections.empty()) return invalid_input("there are no sections, so nothing can grow from them");
  SketchGrowth out;
  out.from = section.value_or(usual_section_of(sketch));
  if (out.from >= sketch.sections.size())
    return not_found(fmt::format("there is no section {}; there {} {}", out.from + 1,
                                 sketch.sections.size() == 1 ? "is" : "are", sketch.sections.size()));
  const SketchSection& from = sketch.sections[out.from];
  const auto where = [&](const std::string& problem) {
    return invalid_input(fmt::format("section {} ({}): {}", out.from + 1, from.name, problem));
  };
  Sketch alone = sketch;
  alone.sections = {from};
  alone.sections[0].signs = {};
  const auto form = form_of_sketch(alone, read);
  if (!form) return where(form.error().message.substr(form.error().message.find(": ") + 2));
  if (std::any_of(form->parts.begin(), form->parts.end(), [](const Part& part) { return part.free; }))
    return where("it has no pulse, so no bars can be written for another section");
  out.chords = chords_at(form->parts.front(), form->parts.front().times);
  if (const Part& last = form->parts.back();
      form->parts.size() > 1) {  // one after another: the last leads on
    const auto more = chords_at(last, last.times);
    for (WrittenChord chord : more) {
      chord.at += form->parts.front().length;
      out.chords.push_back(chord);
    }
  }
  if (out.chords.empty() || !form->key) return where("it has no chords, so nothing can contrast with them");
  out.key = *form->key;
  out.growth = grow(out.chords, out.key, meter_of(*form, form->parts.front()).beats);
  for (const GrownSection& grown : out.growth.sections) out.sections.push_back(section_of(from, grown));
  return out;
}

Result<std::string> grown_text(const std::string& text, const std::string& name, const Sketch& sketch,
                               const SketchGrowth& grown, std::size_t proposal, const SourceReader& read) {
  if (proposal >= grown.sections.size())
    return not_found(
        fmt::format("there is no proposal {}; there are {}", proposal + 1, grown.sections.size()));
  const SketchSection& from = sketch.sections[grown.from];
  const std::size_t next = grown.from + 1;
  std::vector<SketchSection> more{grown.sections[proposal]};
  if (next == sketch.sections.size() || !draws_on_the_same(from, sketch.sections[next]))
    more.push_back(again(from));
  std::string block;
  for (const SketchSection& section : more) block += (block.empty() ? "" : "\n") + write_section(section);
  std::string out = next == sketch.sections.size() ? text + (text.ends_with('\n') ? "\n" : "\n\n") + block
                                                   : inserted(text, sketch.sections[next].line, block);
  auto now = read_sketch(out, name);
  if (!now || now->sections.size() != sketch.sections.size() + more.size()) {
    // Its sections are not written as blocks of lines, so all of it is written anew.
    Sketch whole = sketch;
    whole.sections.insert(whole.sections.begin() + static_cast<std::ptrdiff_t>(next), more.begin(),
                          more.end());
    out = write_sketch(whole);
    now = read_sketch(out, name);
    if (!now) return now.error();
  }
  if (const auto made = form_of_sketch(*now, read); !made) return made.error();
  return out;
}

}  // namespace undersong::song
