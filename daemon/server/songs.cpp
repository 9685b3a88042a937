#include "daemon/server/songs.h"

#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <utility>

#include "daemon/midi/smf.h"
#include "daemon/server/answer_aside.h"
#include "daemon/server/song_wire.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/hand_over.h"
#include "daemon/song/loop_of.h"
#include "daemon/song/reharmonise.h"
#include "daemon/takes/take_times.h"
#include "protocol/base64.h"

namespace undersong::server {
namespace {

template <class HandOver>
song::StringsWish strings_of(const HandOver& wish) {
  return {static_cast<harmony::PadStyle>(wish.strings.value_or(protocol::StringStyle::kStill)),
          wish.divisi.value_or(false)};
}

protocol::HandedOver handed(std::string folder, const song::Folder& made) {
  protocol::HandedOver out;
  out.folder = std::move(folder);
  for (const song::File& file : made.files) out.files.push_back({file.name, protocol::base64(file.bytes)});
  out.remarks = made.remarks;
  return out;
}

protocol::KeptSketch kept_sketch(const std::string& name, const std::string& text,
                                 const song::Sketch& sketch) {
  return {name, song::revision_of(text), text, sketch_of(sketch)};
}

constexpr std::size_t kMostTakes = 16;  // in a proposed sketch; common practice, no source

}  // namespace

void Songs::work(Answer answer, std::function<Text()> job) {
  studies_.fetcher().aside().answer<std::string>("this was worked out", std::move(answer), std::move(job));
}

void Songs::with_sketch(const std::string& name, Answer answer,
                        std::function<Text(const Read&, const song::SourceReader&)> job) {
  with_sketch<std::string>(*reading(name, std::nullopt), std::move(answer), std::move(job));
}

Result<Songs::Reading> Songs::reading(const std::optional<std::string>& name,
                                      const std::optional<protocol::SongSketch>& sketch) const {
  if (name.has_value() == sketch.has_value())
    return invalid_input("params must have either a name or a sketch.");
  if (name)
    return Reading([this, name = *name]() -> Result<Read> {
      auto text = folder_.read(name);
      if (!text) return text.error();
      auto read = song::read_sketch(*text, name + ".toml");
      if (!read) return read.error();
      return Read{std::move(*text), std::move(*read)};
    });
  return Reading([sketch = *sketch]() -> Result<Read> {
    const auto given = sketch_of(sketch);
    if (!given) return given.error();
    auto text = song::write_sketch(*given);
    auto read = song::read_sketch(text, "sketch");
    if (!read) return read.error();
    return Read{std::move(text), std::move(*read)};
  });
}

template <class T>
void Songs::with_sketch(Reading read, takes::Store::Answer<T> answer,
                        std::function<Result<T>(const Read&, const song::SourceReader&)> job) {
  using Shared = std::shared_ptr<const Read>;
  studies_.fetcher().aside().answer<Shared>(
      "a sketch was read",
      [this, answer = std::move(answer), job = std::move(job)](Result<Shared> found) {
        if (!found) return answer(found.error());
        std::vector<takes::TakeId> wanted;
        for (const auto& source : song::sources_of((*found)->sketch)) {
          const auto take = static_cast<takes::TakeId>(source.take);
          if (take != 0 && std::find(wanted.begin(), wanted.end(), take) == wanted.end())
            wanted.push_back(take);
        }
        studies_.fetcher().with_takes<T>(
            std::move(wanted), answer,
            [this, job, read = *found](const Takes& takes) { return job(*read, reader(takes)); });
      },
      [read = std::move(read)]() -> Result<Shared> {
        auto found = read();
        if (!found) return found.error();
        return std::make_shared<const Read>(std::move(*found));
      });
}

void Songs::with_form(const std::string& name, Answer answer, std::function<Text(const song::Form&)> job) {
  with_sketch(name, std::move(answer),
              [job = std::move(job)](const Read& read, const song::SourceReader& reader) -> Text {
                const auto form = song::form_of_sketch(read.sketch, reader);
                if (!form) return form.error();
                return job(*form);
              });
}

song::SourceReader Songs::reader(const Takes& takes) {
  using Study = std::shared_ptr<const song::TakeStudy>;
  return [this, takes](const song::SketchSource& source) -> Result<Study> {
    for (const auto& take : takes)
      if (source.file.empty() && take->detail.summary.take == static_cast<takes::TakeId>(source.take))
        return studies_.of(*take);
    if (source.file.empty()) return not_found(fmt::format("there is no take {}", source.take));
    const auto path = folder_.source(source.file);
    if (!path) return path.error();
    const auto file = midi::read_smf_file(*path);
    if (!file) return file.error();
    return std::make_shared<const song::TakeStudy>(song::study_take({midi::merged_events(*file), {}}));
  };
}

void Songs::loop(const protocol::GetLoop& wish, Answer answer) {
  studies_.with_study<std::string>(wish.take, std::move(answer),
                                   [](const takes::Store::Midi& take, const song::TakeStudy& study) -> Text {
                                     if (const auto loop = song::loop_of(study); !loop) return loop.error();
                                     return protocol::to_json(loop_of(study, take.detail.summary));
                                   });
}

void Songs::reharmonise(const protocol::Reharmonise& wish, Answer answer) {
  const auto asked = wish_of(wish);
  if (!asked) return answer(asked.error());
  studies_.with_study<std::string>(
      wish.take, std::move(answer),
      [asked = *asked](const takes::Store::Midi& take, const song::TakeStudy& study) -> Text {
        const auto loop = song::loop_of(study);
        if (!loop) return loop.error();
        const auto made = song::reharmonise(study.take, **loop, study.sections, asked);
        if (!made) return made.error();
        return protocol::to_json(reharmonised_of(*made, take.detail.summary.take));
      });
}

void Songs::hand_over(const protocol::HandOverTake& wish, Answer answer) {
  studies_.with_study<std::string>(
      wish.take, std::move(answer),
      [wish](const takes::Store::Midi& take, const song::TakeStudy& study) -> Text {
        const auto& summary = take.detail.summary;
        song::HandOverOptions options;
        options.title = summary.title.empty() ? fmt::format("Take {}", summary.take) : summary.title;
        options.parts.steady = wish.steady.value_or(wish.tempo.has_value());
        options.parts.tempo = wish.tempo;
        options.parts.strings = strings_of(wish);
        for (const takes::Line& mark : take.detail.marks)
          options.parts.marks.emplace_back(
              std::max(Micros(0), takes::span_of(summary).within(mark.at) - takes::span_of(summary).from),
              mark.data);
        const auto made = song::hand_over(song::own_time(take).events, study, options);
        if (!made) return made.error();
        return protocol::to_json(handed(fmt::format("take-{}", summary.take), *made));
      });
}

void Songs::list(Answer answer) {
  work(std::move(answer), [this]() -> Text {
    const auto names = folder_.names();
    if (!names) return names.error();
    protocol::SketchList out;
    out.folder = folder_.path().string();
    for (const std::string& name : *names) {
      protocol::SketchSummary summary;
      summary.name = name;
      const auto text = folder_.read(name);
      const auto sketch =
          text ? song::read_sketch(*text, name + ".toml") : Result<song::Sketch>(text.error());
      if (sketch) {
        summary.title = sketch->title;
        summary.sections = sketch->sections.size();
      } else {
        summary.problem = as_sentence(sketch.error()).message;
      }
      out.sketches.push_back(std::move(summary));
    }
    return protocol::to_json(out);
  });
}

void Songs::get(const std::string& name, Answer answer) {
  work(std::move(answer), [this, name]() -> Text {
    const auto text = folder_.read(name);
    if (!text) return text.error();
    const auto sketch = song::read_sketch(*text, name + ".toml");
    if (!sketch) return sketch.error();
    return protocol::to_json(kept_sketch(name, *text, *sketch));
  });
}

void Songs::put(const protocol::PutSketch& wish, Answer answer) {
  work(std::move(answer), [this, wish]() -> Text {
    // The sketch is written and read again, so that the same rules hold as for a file.
    const auto given = sketch_of(wish.sketch);
    if (!given) return given.error();
    const std::string text = song::write_sketch(*given);
    const auto sketch = song::read_sketch(text, wish.name + ".toml");
    if (!sketch) return sketch.error();
    if (const auto written = folder_.write(wish.name, text, wish.revision); !written) return written.error();
    return protocol::to_json(kept_sketch(wish.name, text, *sketch));
  });
}

void Songs::remove(const std::string& name, Answer answer) {
  work(std::move(answer), [this, name]() -> Text {
    if (const auto removed = folder_.remove(name); !removed) return removed.error();
    return protocol::to_json(protocol::SketchName{name});
  });
}

void Songs::propose(const protocol::ProposeSketch& wish, Answer answer) {
  if (wish.takes.empty() || wish.takes.size() > kMostTakes)
    return answer(invalid_input(fmt::format("params.takes must name 1 to {} takes.", kMostTakes)));
  studies_.fetcher().with_takes<std::string>(
      wish.takes, std::move(answer), [this, wish](const Takes& takes) -> Text {
        std::vector<song::SketchSource> sources;
        for (const std::uint64_t take : wish.takes) sources.push_back({"", static_cast<std::int64_t>(take)});
        std::string title = wish.title.value_or(takes.front()->detail.summary.title);
        if (title.empty()) title = fmt::format("Take {}", wish.takes.front());
        const auto sketch = song::propose_sketch(sources, reader(takes), title);
        if (!sketch) return sketch.error();
        return protocol::to_json(sketch_of(*sketch));
      });
}

void Songs::outline(const protocol::OutlineSketch& wish, Answer answer) {
  auto read = reading(wish.name, wish.sketch);
  if (!read) return answer(read.error());
  with_sketch<std::string>(std::move(*read), std::move(answer),
                           [sounding = wish.sounding.value_or(false)](
                               const Read& found, const song::SourceReader& reader) -> Text {
                             const auto form = song::form_of_sketch(found.sketch, reader);
                             if (!form) return form.error();
                             protocol::SketchOutline out = outline_of(*form);
                             if (sounding) {
                               const auto song = song::sounding_song(*form);
                               if (!song) return song.error();
                               out.sound = sound_of(*song);
                             }
                             return protocol::to_json(out);
                           });
}

void Songs::score(const protocol::PlaySketch& wish, Velocity usual,
                  takes::Store::Answer<song::SongScore> answer) {
  auto read = reading(wish.name, wish.sketch);
  if (!read) return answer(read.error());
  song::SongSpan span;
  if (wish.section) span.section = static_cast<int>(wish.section->value);
  span.only = wish.only.value_or(false);
  if (span.only && !span.section)
    return answer(invalid_input("params.only is given, but no section: name the one to play."));
  const Velocity mean = wish.velocity ? Velocity(static_cast<int>(wish.velocity->value)) : usual;
  with_sketch<song::SongScore>(
      std::move(*read), std::move(answer),
      [span, mean](const Read& found, const song::SourceReader& reader) -> Result<song::SongScore> {
        const std::size_t sections = found.sketch.sections.size();
        if (span.section && static_cast<std::size_t>(*span.section) > sections)
          return not_found(fmt::format("There is no section {}: the song has {}.", *span.section, sections));
        const auto form = song::form_of_sketch(found.sketch, reader);
        if (!form) return form.error();
        return song::song_score(*form, span, mean);
      });
}

void Songs::grow(const protocol::GrowSketch& wish, Answer answer) {
  with_sketch(
      wish.name, std::move(answer), [this, wish](const Read& read, const song::SourceReader& reader) -> Text {
        std::optional<std::size_t> section;
        if (wish.section) section = static_cast<std::size_t>(wish.section->value - 1);
        const auto grown = song::grow_sketch(read.sketch, reader, section);
        if (!grown) return grown.error();
        protocol::GrownSketch out = grown_of(*grown, read.sketch);
        if (wish.add) {
          const std::string file = wish.name + ".toml";
          const auto text = song::grown_text(read.text, file, read.sketch, *grown,
                                             static_cast<std::size_t>(wish.add->value - 1), reader);
          if (!text) return text.error();
          const auto sketch = song::read_sketch(*text, file);
          if (!sketch) return sketch.error();
          if (const auto written = folder_.write(wish.name, *text, song::revision_of(read.text)); !written)
            return written.error();
          out.added = kept_sketch(wish.name, *text, *sketch);
        }
        return protocol::to_json(out);
      });
}

void Songs::hand_over_sketch(const protocol::HandOverSketch& wish, Answer answer) {
  with_form(wish.name, std::move(answer), [wish](const song::Form& form) -> Text {
    const auto made = song::hand_over_form(form, strings_of(wish));
    if (!made) return made.error();
    return protocol::to_json(handed(wish.name, *made));
  });
}

}  // namespace undersong::server
