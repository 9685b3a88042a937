// Turns a sketch into a written form: each section is drawn from its take, with its own chords, key and
// layers.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <tuple>

#include "daemon/harmony/chord_symbol.h"
#include "daemon/song/feel.h"
#include "daemon/song/fold.h"
#include "daemon/song/lyrics.h"
#include "daemon/song/pickup.h"
#include "daemon/song/sketch.h"
#include "daemon/song/sketch_parts.h"
#include "daemon/song/sketch_source.h"
#include "daemon/song/spell_form.h"

namespace undersong::song {
namespace {

takes::SectionKind section_kind(SketchKind kind) {
  switch (kind) {
    case SketchKind::kDevelopment:
    case SketchKind::kPreChorus:
    case SketchKind::kInterlude: return takes::SectionKind::kDeveloped;
    case SketchKind::kBridge: return takes::SectionKind::kSparse;
    case SketchKind::kSolo: return takes::SectionKind::kSolo;
    case SketchKind::kIntro:
    case SketchKind::kTheme:
    case SketchKind::kVerse:
    case SketchKind::kChorus:
    case SketchKind::kOutro:
    case SketchKind::kEnding: break;
  }
  return takes::SectionKind::kTheme;
}

class Builder {
 public:
  explicit Builder(const SourceReader& read) : read_(read) {}

  Result<Form> build(const Sketch& sketch) {
    Form form;
    form.title = sketch.title.empty() ? "Untitled" : sketch.title;
    form.pulse = false;
    form.count_in = sketch.count_in;
    feel_ = sketch.feel;
    std::string dynamic;  // that holds
    form.tempo = sketch.tempo.value_or(form.tempo);
    // Sections from the same take with the same transposition share one key, unless they name another.
    std::map<std::tuple<SketchSource, int, std::string>, std::size_t> regions;
    std::vector<HeardKey> heard;
    std::vector<std::size_t> region_of;
    for (std::size_t i = 0; i < sketch.sections.size(); ++i) {
      const SketchSection& section = sketch.sections[i];
      const auto where = [&](const Error& error) {
        std::string message = error.message;
        if (message.ends_with('.')) message.pop_back();
        return Error{error.code, fmt::format("section {} ({}): {}", i + 1, section.name, message)};
      };
      auto source = studied(section.source);
      if (!source) return where(source.error());
      const TakeStudy& from = **source;
      auto parts = parts_of(section, from);
      if (!parts) return where(parts.error());
      if (i == 0) add_pickup(section, from, *parts);
      if (auto sung = sing_pickup(section, *parts); !sung) return where(sung.error());
      if (!section.dynamic.empty()) dynamic = section.dynamic;
      for (Part& part : *parts) part.dynamic = dynamic;
      mark(section, section.feel.value_or(feel_), *parts);
      const int up = ((section.transpose + parts->back().transposed) % 12 + 12) % 12;
      const std::string named = section.key ? harmony::text(*section.key) : "";
      const auto [region, is_new] = regions.try_emplace({section.source, up, named}, heard.size());
      if (is_new) {
        heard.push_back({section.key ? section.key : from.take.key, section.key.has_value()});
        if (auto& key = heard.back().key; key && !section.key) key->tonic = transpose(key->tonic, up);
      }
      for (Part& part : *parts) {
        part.section = static_cast<int>(i) + 1;
        if (!part.free && !form.pulse) {  // the first part that has a pulse
          form.pulse = true;
          form.meter = *part.own_meter;
          form.tempo = as_tempo_mark(sketch.tempo.value_or(60 / from.bars.seconds_a_beat));
        }
        form.parts.push_back(std::move(part));
        region_of.push_back(region->second);
      }
    }
    for (Part& part : form.parts) {
      if (part.own_meter == form.meter) part.own_meter.reset();
      if (part.own_tempo == form.tempo) part.own_tempo.reset();
    }
    spell_form_by_regions(form, region_of, heard);
    return form;
  }

 private:
  Result<std::shared_ptr<const TakeStudy>> studied(const SketchSource& source) {
    auto& known = sources_[source];
    if (!known) {
      auto made = study_of_source(read_, source);
      if (!made) return made.error();
      known = std::move(*made);
    }
    return known;
  }

  // The strains for a section, in the order in which they are played.
  Result<std::vector<Strain>> strains_of(const SketchSection& section, const TakeStudy& from) const {
    const Heard heard{from.take, from.melody, from.bars, &from.bass};
    std::vector<Strain> out;
    if (section.span) {
      const Micros begin(std::llround(1e6 * section.span->first)),
          end(std::llround(1e6 * section.span->second));
      const auto& spans = from.take.spans;
      if (begin >= spans.back().end)
        return not_found(fmt::format("nothing sounds from {:g} to {:g} seconds; the take ends at {:.1f}",
                                     section.span->first, section.span->second,
                                     std::chrono::duration<double>(spans.back().end).count()));
      if (from.bars.pulse) {  // round both ends to the nearest bar line
        const auto line = [&](Micros at) {
          Ticks best = from.bars.bars.front().at;
          const double beat = from.bars.map.beats_at(at);
          for (const Bar& bar : from.bars.bars)
            if (std::abs(bar.at.beats() - beat) < std::abs(best.beats() - beat)) best = bar.at;
          return best;
        };
        const Ticks first = line(begin), last = line(end);
        if (last <= first) return invalid_input("its span holds no whole bar");
        out.push_back(write_bars(heard, first, last));
      } else {
        std::size_t first = 0, last = 0;
        while (first + 1 < spans.size() && spans[first].end <= begin) ++first;
        for (last = first; last < spans.size() && spans[last].begin < end;) ++last;
        if (last == first) return not_found("no chord sounds in its span");
        out.push_back(write_stretch(heard, first, last, false));
      }
      if (out.back().chords.empty()) return not_found("no chord sounds in its span");
      return out;
    }
    if (!from.loop) return not_found("its take has no loop to draw sections from; give it a span in seconds");
    const takes::Loop& loop = *from.loop;
    std::vector<std::size_t> passes;
    if (!section.passes.empty()) {
      for (int pass : section.passes) {
        if (static_cast<std::size_t>(pass) > loop.passes.size())
          return not_found(
              fmt::format("there is no pass {}; the loop has {} passes", pass, loop.passes.size()));
        passes.push_back(static_cast<std::size_t>(pass - 1));
      }
    } else {
      std::string label = section.label.empty() ? usual_section(from.sections) : section.label;
      if (label.empty()) label = from.sections.sections.front().label;
      std::vector<std::string> known;
      bool done = false;  // use only the first stretch of passes with this label; later ones repeat it
      for (const auto& made : from.sections.sections) {
        if (std::find(known.begin(), known.end(), made.label) == known.end()) known.push_back(made.label);
        if (made.label != label || done) continue;
        for (std::size_t i = made.first; i < made.first + made.count; ++i) passes.push_back(i);
        done = true;
      }
      if (passes.empty())
        return not_found(fmt::format("there is no section {}; there {} {}", label,
                                     known.size() == 1 ? "is" : "are", fmt::join(known, ", ")));
      // Skip truncated or transposed passes, unless there are no others.
      const auto whole = [&](std::size_t i) { return !loop.passes[i].cut && loop.passes[i].transposed == 0; };
      if (std::any_of(passes.begin(), passes.end(), whole))
        std::erase_if(passes, [&](std::size_t i) { return !whole(i); });
    }
    for (std::size_t pass : passes) out.push_back(write_pass(heard, loop, loop.passes[pass], from.cycle));
    std::erase_if(out, [](const Strain& strain) { return strain.length <= Ticks(0); });
    if (out.empty()) return not_found("nothing sounds in its passes");
    return out;
  }

  // The melody of the section of another take that has the most passes.
  Result<void> lay_tune(const SketchSource& source, const TakeStudy& from, std::vector<Part>& parts) {
    auto study = studied(source);
    if (!study) return Error{study.error().code, "its tune: " + study.error().message};
    const TakeStudy& other = **study;
    SketchSection usual;
    const auto strains = strains_of(usual, other);
    if (!strains) return Error{strains.error().code, "its tune: " + strains.error().message};
    const auto made = fold(*strains, other.bars.written().bar());
    const Part& tune = *std::max_element(made.begin(), made.end(),
                                         [](const Part& a, const Part& b) { return a.times < b.times; });
    if (tune.melody.empty()) return not_found("its tune: there is no melody in that take");
    for (Part& part : parts) {
      if (tune.free != part.free)
        return invalid_input(tune.free ? "its tune has no pulse, but its chords have"
                                       : "its tune has a pulse, but its chords have none");
      if (!part.free && (other.bars.meter != from.bars.meter || other.bars.beat != from.bars.beat))
        return invalid_input(fmt::format("its tune is in {}, but its chords are in {}",
                                         text(other.bars.written().signature()),
                                         text(from.bars.written().signature())));
      part.melody = fitted(tune.melody, tune.length, part.length);
      for (Ending& ending : part.endings) {
        ending.melody = fitted(tune.melody, tune.length, ending.from + ending.length);
        std::erase_if(ending.melody, [&](const WrittenNote& note) { return note.at < ending.from; });
        for (WrittenNote& note : part.melody)  // none is held into the endings
          if (note.at < ending.from) note.length = std::min(note.length, ending.from - note.at);
      }
    }
    return {};
  }

  // The section may have another number of beats than its take.
  static Meter meter_of(const SketchSection& section, const TakeStudy& from) {
    Meter out = from.bars.written();
    if (section.meter && *section.meter != out.beats) out.beats = *section.meter, out.groups = 0;
    return out;
  }

  Result<std::vector<Part>> parts_of(const SketchSection& section, const TakeStudy& from) {
    auto strains = strains_of(section, from);
    if (!strains) return strains.error();
    std::vector<Part> parts = fold(*strains, from.bars.written().bar());
    std::erase_if(parts, [](const Part& part) { return part.length <= Ticks(0); });
    if (parts.empty()) return not_found("nothing can be written down from it");
    // With a label, the part that was played most often represents the section. Passes and spans are played
    // as listed.
    if (section.passes.empty() && !section.span && parts.size() > 1) {
      const auto most = std::max_element(parts.begin(), parts.end(),
                                         [](const Part& a, const Part& b) { return a.times < b.times; });
      parts = {*most};
    }
    if (section.tune)
      if (auto laid = lay_tune(*section.tune, from, parts); !laid) return laid.error();
    if (!section.chord_line.empty())
      if (auto laid = lay_chords(section, from, parts); !laid) return laid.error();
    if (section.proposal || !section.chords.empty()) {
      auto changed = rechorded(section, from, parts);
      if (!changed) return changed.error();
    }
    if (section.transpose != 0)
      for (Part& part : parts)
        if (auto moved = transpose_part(part, section.transpose); !moved) return moved.error();
    if (section.meter && *section.meter != from.bars.meter)
      for (Part& part : parts) bar_anew(part, *section.meter * kBeat);
    const int repeats =
        section.repeats.value_or(section.passes.empty() && !section.span ? parts.front().times : 1);
    const std::size_t round = parts.size();
    if (parts.size() == 1) {
      repeat(parts.front(), section.passes.empty() ? repeats : parts.front().times * repeats);
    } else {
      const std::vector<Part> once = parts;
      for (int i = 1; i < repeats; ++i) parts.insert(parts.end(), once.begin(), once.end());
    }
    for (std::size_t i = 0; i < parts.size(); ++i) {
      parts[i].label.clear();  // the section has a name of its own
      parts[i].kind = section_kind(section.kind);
      parts[i].name = i == 0 ? section.name : "";
      parts[i].layers = section.layers;
      if (!parts[i].layers.melody) {  // what is left out is neither played nor printed
        parts[i].melody.clear();
        for (Ending& ending : parts[i].endings) ending.melody.clear();
      }
      if (parts[i].melody.empty()) parts[i].layers.melody = false;
      if (!parts[i].free) parts[i].own_meter = meter_of(section, from);
      if (section.feel.value_or(feel_) == Feel::kSwing) straighten(parts[i]);
    }
    if (section.fermata) hold_last(parts.back(), section.meter.value_or(from.bars.meter) * kBeat);
    if (!section.lyrics.empty()) {
      auto lines = section.lyrics;
      lines.front() = std::string(pickup_words(lines.front()).rest);
      if (auto laid = lay_lyrics(parts, round, lines); !laid) return laid.error();
    }
    return parts;
  }

  // A song begins with the pickup of its take if it begins with the first pass and has its tune.
  static void add_pickup(const SketchSection& section, const TakeStudy& from, std::vector<Part>& parts) {
    const Micros first = from.loop ? from.loop->passes.front().begin : Micros(0);
    if (section.span || section.tune || !section.layers.melody || parts.front().free ||
        parts.front().begin != first)
      return;
    const Ticks bar(480 * std::llround(from.bars.map.beats_at(first)));
    auto pickup = pickup_before({from.take, from.melody, from.bars, &from.bass}, bar);
    if (!pickup || !transpose_part(*pickup, section.transpose)) return;
    if (section.proposal || !section.chords.empty() || !section.chord_line.empty())
      pickup->chords.clear(), pickup->bass = {};  // what was played belongs to the old chords
    pickup->layers = section.layers;
    pickup->layers.pad = false;
    pickup->own_meter = parts.front().own_meter;
    if (parts.front().feel == Feel::kSwing) straighten(*pickup);
    parts.insert(parts.begin(), std::move(*pickup));
  }

  static Result<void> sing_pickup(const SketchSection& section, std::vector<Part>& parts) {
    const std::string_view words =
        section.lyrics.empty() ? std::string_view() : pickup_words(section.lyrics.front()).pickup;
    if (words.empty()) return {};
    if (!parts.front().pickup)
      return invalid_input("its lyrics begin before the first bar (|), but it has no pickup");
    return lay_lyrics(std::span(parts).first(1), 1, {std::string(words)});
  }

  Result<void> rechorded(const SketchSection& section, const TakeStudy& from,
                         std::vector<Part>& parts) const {
    std::vector<std::pair<harmony::Chord, harmony::NoteName>> chords;
    if (section.proposal) {
      if (!from.loop) return not_found("its take has no loop to reharmonise");
      ReharmoniseWish wish;
      wish.section = section.label;
      wish.count = kMostProposals;
      const auto found = reharmonise(from.take, *from.loop, from.sections, wish);
      if (!found) return found.error();
      if (static_cast<std::size_t>(*section.proposal) > found->proposals.size())
        return not_found(
            fmt::format("there is no proposal {}; there are {}", *section.proposal, found->proposals.size()));
      for (const auto& chord : found->proposals[static_cast<std::size_t>(*section.proposal - 1)].chords)
        chords.emplace_back(chord.chord, chord.root);
    } else {
      for (const std::string& text : section.chords) {
        const auto parsed = harmony::parse_chord(text);
        if (!parsed) return invalid_input(fmt::format("{} is not a chord", text));
        chords.emplace_back(parsed->chord, parsed->root);
      }
    }
    for (Part& part : parts) {
      // In a complete pass the new chords take the places of the loop's chords. Elsewhere there must be one
      // for each chord that was played.
      const bool round =
          !section.span && from.loop && part.length == from.cycle.length && part.free == from.cycle.free;
      std::vector<Ticks> places;
      if (round)
        places = from.cycle.starts;
      else
        for (const WrittenChord& chord : part.chords) places.push_back(chord.at);
      if (places.size() != chords.size())
        return invalid_input(fmt::format("{} {} given, but {} {} there to be replaced", chords.size(),
                                         chords.size() == 1 ? "chord is" : "chords are", places.size(),
                                         places.size() == 1 ? "is" : "are"));
      part.endings.clear();
      part.chords.clear();
      part.bass = {};  // what was played belongs to the old chords
      for (std::size_t i = 0; i < places.size(); ++i) {
        const Ticks end = i + 1 < places.size() ? places[i + 1] : part.length;
        part.chords.push_back({chords[i].first, chords[i].second, places[i], end - places[i]});
      }
    }
    return {};
  }

  const SourceReader& read_;
  Feel feel_ = Feel::kStraight;  // of the song
  std::map<SketchSource, std::shared_ptr<const TakeStudy>> sources_;
};

}  // namespace

Result<Form> form_of_sketch(const Sketch& sketch, const SourceReader& read) {
  if (sketch.sections.empty()) return invalid_input("there are no sections, so there is nothing to play");
  return Builder(read).build(sketch);
}

}  // namespace undersong::song
