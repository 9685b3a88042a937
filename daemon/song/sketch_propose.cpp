// Proposes a first sketch. What it proposes can be made: it is tried before it is given.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "daemon/song/feel.h"
#include "daemon/song/sketch.h"
#include "daemon/song/sketch_source.h"

namespace undersong::song {
namespace {

// The beginning of a text that a sketch can hold: one line of valid UTF-8.
std::string as_one_line(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const auto lead = static_cast<unsigned char>(text[i]);
    const std::size_t length = lead < 0x80                   ? 1
                               : lead >= 0xC2 && lead < 0xE0 ? 2
                               : lead >= 0xE0 && lead < 0xF0 ? 3
                               : lead >= 0xF0 && lead < 0xF5 ? 4
                                                             : 0;
    bool whole = length > 0 && i + length <= text.size();
    for (std::size_t k = 1; whole && k < length; ++k)
      whole = (static_cast<unsigned char>(text[i + k]) & 0xC0) == 0x80;
    const std::string letter = !whole                        ? "?"
                               : lead < 0x20 || lead == 0x7F ? " "
                                                             : std::string(text.substr(i, length));
    if (out.size() + letter.size() > kLongestSketchText) break;
    out += letter;
    i += whole ? length : 1;
  }
  return out;
}

// Leaves out the sections that cannot be made, so that nobody gets a sketch that is refused afterwards.
// Written out and read again, because that is what happens to it next.
Result<Sketch> makeable(Sketch sketch, const SourceReader& read) {
  auto again = read_sketch(write_sketch(sketch), "the proposed song");
  if (!again) return again.error();
  auto song = form_of_sketch(*again, read);
  if (song) return sketch;
  const Error why = song.error();
  std::erase_if(sketch.sections, [&](const SketchSection& section) {
    Sketch alone;
    alone.sections = {section};
    return !form_of_sketch(alone, read);
  });
  if (sketch.sections.empty() || !form_of_sketch(sketch, read)) return why;
  return sketch;
}

}  // namespace

Result<std::shared_ptr<const TakeStudy>> study_of_source(const SourceReader& read,
                                                         const SketchSource& source) {
  auto study = read(source);
  if (!study) return study.error();
  if ((*study)->take.notes.empty()) return invalid_input("there are no notes in its take");
  if ((*study)->take.spans.empty()) return invalid_input("no chord was heard in its take");
  return study;
}

Result<Sketch> propose_sketch(const std::vector<SketchSource>& sources, const SourceReader& read,
                              const std::string& title) {
  Sketch out;
  out.title = as_one_line(title);
  if (sources.empty()) return invalid_input("a song needs a take to draw from");
  std::vector<std::shared_ptr<const TakeStudy>> studies;
  for (const SketchSource& source : sources) {
    const std::string name = source.file.empty() ? fmt::format("take {}", source.take) : source.file;
    auto study = study_of_source(read, source);
    if (!study) return Error{study.error().code, fmt::format("{}: {}", name, study.error().message)};
    studies.push_back(std::move(*study));
  }
  if (std::all_of(studies.begin(), studies.end(), [](const auto& from) { return swings(from->bars.swing); }))
    out.feel = Feel::kSwing;
  using takes::SectionKind;
  const auto add = [&](std::size_t source, SketchKind kind, std::string name, const std::string& label,
                       int repeats) -> SketchSection& {
    SketchSection section;
    section.name = std::move(name);
    section.kind = kind;
    section.source = sources[source];
    section.label = label;
    section.repeats = repeats;
    out.sections.push_back(std::move(section));
    return out.sections.back();
  };
  // The first section of one of these kinds, in any source, that is not used yet.
  struct Place {
    std::size_t source;
    std::string label;
  };
  const auto first = [&](std::initializer_list<SectionKind> kinds,
                         const std::vector<Place>& used) -> std::optional<Place> {
    for (const SectionKind kind : kinds)
      for (std::size_t i = 0; i < studies.size(); ++i)
        for (const auto& section : studies[i]->sections.sections) {
          const bool taken = std::any_of(used.begin(), used.end(), [&](const Place& p) {
            return p.source == i && p.label == section.label;
          });
          if (section.kind == kind && !taken) return Place{i, section.label};
        }
    return std::nullopt;
  };
  std::vector<Place> used;
  const auto take = [&](std::initializer_list<SectionKind> kinds) {
    auto place = first(kinds, used);
    if (place) used.push_back(*place);
    return place;
  };
  const auto theme = take({SectionKind::kTheme, SectionKind::kDeveloped, SectionKind::kSolo,
                           SectionKind::kSparse, SectionKind::kAccompaniment});
  if (!theme) {  // no source has a loop: use everything that was played, one source after another
    for (std::size_t i = 0; i < studies.size(); ++i) {
      SketchSection& whole = add(i, i == 0 ? SketchKind::kTheme : SketchKind::kDevelopment,
                                 i == 0 ? "Theme" : fmt::format("Part {}", i + 1), "", 1);
      whole.span = {0.0, std::ceil(std::chrono::duration<double>(studies[i]->take.spans.back().end).count())};
    }
    return makeable(std::move(out), read);
  }
  add(theme->source, SketchKind::kIntro, "Intro", theme->label, 1).layers = {false, true, true, false};
  add(theme->source, SketchKind::kTheme, "Theme", theme->label, 2);
  if (const auto place = take({SectionKind::kDeveloped}))
    add(place->source, SketchKind::kDevelopment, "Development", place->label, 2);
  // The bridge is a sparse section, or another theme, or else the theme with other chords.
  if (const auto place = take({SectionKind::kSparse, SectionKind::kTheme})) {
    add(place->source, SketchKind::kBridge, "Bridge", place->label, 1).layers.bass = false;
  } else {
    const TakeStudy& from = *studies[theme->source];
    ReharmoniseWish wish;
    wish.section = theme->label;
    if (reharmonise(from.take, *from.loop, from.sections, wish))
      add(theme->source, SketchKind::kBridge, "Bridge", theme->label, 1).proposal = 1;
  }
  if (const auto place = take({SectionKind::kSolo}))
    add(place->source, SketchKind::kSolo, "Solo", place->label, 2);
  add(theme->source, SketchKind::kTheme, "Theme again", theme->label, 1);
  add(theme->source, SketchKind::kEnding, "Ending", theme->label, 1).layers = {true, false, false, true};
  return makeable(std::move(out), read);
}

}  // namespace undersong::song
