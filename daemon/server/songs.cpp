#include "daemon/server/songs.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "daemon/base/caught.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/server/song_wire.h"
#include "daemon/song/form_midi.h"
#include "daemon/takes/take_times.h"
#include "protocol/base64.h"

namespace undersong::server {
namespace {

// A sentence for people: capital letter, full stop.
Error as_sentence(Error error) {
  if (error.message.empty()) error.message = "it could not be done";
  error.message[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(error.message[0])));
  if (error.message.back() != '.') error.message += '.';
  return error;
}

protocol::HandedOver handed(std::string folder, const song::Folder& made) {
  protocol::HandedOver out;
  out.folder = std::move(folder);
  for (const song::File& file : made.files) out.files.push_back({file.name, protocol::base64(file.bytes)});
  out.remarks = made.remarks;
  return out;
}

using Study = std::shared_ptr<const song::TakeStudy>;

Result<Study> with_loop(Study found) {
  if (found->take.notes.empty()) return invalid_input("there are no notes in its take");
  if (found->take.spans.empty()) return invalid_input("no chord was heard in its take");
  if (!found->loop)
    return not_found(
        fmt::format("no run of chords comes round often enough to be a loop: this take has {} chord{}",
                    found->take.spans.size(), found->take.spans.size() == 1 ? "" : "s"));
  return found;
}

}  // namespace

template <class T>
void Songs::work(Answer<T> answer, std::function<Result<T>()> job) {
  const bool taken = world_.aside([this, answer, job = std::move(job)] {
    Result<T> result = guarded<T>("this was worked out", job);
    world_.post([answer, result = std::move(result)] {
      answer(result ? result : Result<T>(as_sentence(result.error())));
    });
  });
  if (!taken)
    answer(Error{ErrorCode::kExhausted, "Too much is being worked out already; ask again in a moment."});
}

template <class T>
void Songs::with_take(std::optional<std::uint64_t> take, Answer<T> answer,
                      std::function<Result<T>(const Midi&)> job) {
  world_.store.midi(take, [this, answer = std::move(answer), job = std::move(job)](Result<Midi> got) {
    if (!got) return answer(got.error());
    const auto midi = std::make_shared<const Midi>(std::move(*got));
    work<T>(answer, [midi, job] { return job(*midi); });
  });
}

void Songs::fetch(std::vector<std::uint64_t> wanted, Takes so_far, std::function<void(Result<Takes>)> use) {
  if (so_far.size() == wanted.size()) return use(std::move(so_far));
  const std::uint64_t next = wanted[so_far.size()];
  world_.store.midi(next, [this, wanted = std::move(wanted), so_far = std::move(so_far),
                           use = std::move(use)](Result<Midi> got) mutable {
    if (!got) return use(got.error());
    so_far.push_back(std::make_shared<const Midi>(std::move(*got)));
    fetch(std::move(wanted), std::move(so_far), std::move(use));
  });
}

template <class T>
void Songs::with_form(const std::string& name, Answer<T> answer,
                      std::function<Result<T>(const song::Form&)> job) {
  using Read = std::shared_ptr<const song::Sketch>;
  work<Read>(
      [this, name, answer, job = std::move(job)](Result<Read> sketch) {
        if (!sketch) return answer(sketch.error());
        std::vector<std::uint64_t> wanted;
        for (const auto& section : (*sketch)->sections) {
          const auto take = static_cast<std::uint64_t>(section.source.take);
          if (take != 0 && std::find(wanted.begin(), wanted.end(), take) == wanted.end())
            wanted.push_back(take);
        }
        fetch(std::move(wanted), {}, [this, answer, job, sketch = *sketch](Result<Takes> takes) {
          if (!takes) return answer(takes.error());
          work<T>(answer, [this, job, sketch, takes = *takes]() -> Result<T> {
            const auto form = song::form_of_sketch(*sketch, reader(takes));
            if (!form) return form.error();
            return job(*form);
          });
        });
      },
      [this, name]() -> Result<Read> {
        const auto text = folder_.read(name);
        if (!text) return text.error();
        auto sketch = song::read_sketch(*text, name + ".toml");
        if (!sketch) return sketch.error();
        return std::make_shared<const song::Sketch>(std::move(*sketch));
      });
}

song::SourceReader Songs::reader(const Takes& takes) const {
  return [this, takes](const song::SketchSource& source) -> Result<Study> {
    for (const auto& take : takes)
      if (source.file.empty() && take->detail.summary.take == static_cast<takes::TakeId>(source.take))
        return world_.studies->of(*take);
    if (source.file.empty()) return not_found(fmt::format("there is no take {}", source.take));
    const auto path = folder_.source(source.file);
    if (!path) return path.error();
    const auto file = midi::read_smf_file(*path);
    if (!file) return file.error();
    return std::make_shared<const song::TakeStudy>(song::study_take({midi::merged_events(*file), {}}));
  };
}

void Songs::loop(const protocol::GetLoop& wish, Answer<protocol::TakeLoop> answer) {
  with_take<protocol::TakeLoop>(wish.take, std::move(answer),
                                [this](const Midi& take) -> Result<protocol::TakeLoop> {
                                  const auto found = with_loop(world_.studies->of(take));
                                  if (!found) return found.error();
                                  return loop_of(**found, take.detail.summary);
                                });
}

void Songs::reharmonise(const protocol::Reharmonise& wish, Answer<protocol::Reharmonised> answer) {
  const auto asked = wish_of(wish);
  if (!asked) return answer(asked.error());
  with_take<protocol::Reharmonised>(
      wish.take, std::move(answer),
      [this, asked = *asked](const Midi& take) -> Result<protocol::Reharmonised> {
        const auto found = with_loop(world_.studies->of(take));
        if (!found) return found.error();
        const auto made = song::reharmonise((*found)->take, *(*found)->loop, (*found)->sections, asked);
        if (!made) return made.error();
        return reharmonised_of(*made, take.detail.summary.take);
      });
}

void Songs::hand_over(const protocol::HandOverTake& wish, Answer<protocol::HandedOver> answer) {
  with_take<protocol::HandedOver>(
      wish.take, std::move(answer), [this, wish](const Midi& take) -> Result<protocol::HandedOver> {
        const auto& summary = take.detail.summary;
        song::HandOverOptions options;
        options.title = summary.title.empty() ? fmt::format("Take {}", summary.take) : summary.title;
        options.parts.steady = wish.steady.value_or(wish.tempo.has_value());
        options.parts.tempo = wish.tempo;
        for (const takes::Line& mark : take.detail.marks)
          options.parts.marks.emplace_back(
              std::max(Micros(0), takes::span_of(summary).within(mark.at) - takes::span_of(summary).from),
              mark.data);
        const auto made = song::hand_over(song::own_time(take).events, *world_.studies->of(take), options);
        if (!made) return made.error();
        return handed(fmt::format("take-{}", summary.take), *made);
      });
}

void Songs::list(Answer<protocol::SketchList> answer) {
  work<protocol::SketchList>(std::move(answer), [this]() -> Result<protocol::SketchList> {
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
    return out;
  });
}

void Songs::get(const std::string& name, Answer<protocol::KeptSketch> answer) {
  work<protocol::KeptSketch>(std::move(answer), [this, name]() -> Result<protocol::KeptSketch> {
    const auto text = folder_.read(name);
    if (!text) return text.error();
    const auto sketch = song::read_sketch(*text, name + ".toml");
    if (!sketch) return sketch.error();
    return protocol::KeptSketch{name, song::revision_of(*text), *text, sketch_of(*sketch)};
  });
}

void Songs::put(const protocol::PutSketch& wish, Answer<protocol::KeptSketch> answer) {
  work<protocol::KeptSketch>(std::move(answer), [this, wish]() -> Result<protocol::KeptSketch> {
    // Written and read again, so that the rules are those of the file.
    const std::string text = song::write_sketch(sketch_of(wish.sketch));
    const auto sketch = song::read_sketch(text, wish.name + ".toml");
    if (!sketch) return sketch.error();
    if (const auto written = folder_.write(wish.name, text, wish.revision); !written) return written.error();
    return protocol::KeptSketch{wish.name, song::revision_of(text), text, sketch_of(*sketch)};
  });
}

void Songs::remove(const std::string& name, Answer<protocol::SketchName> answer) {
  work<protocol::SketchName>(std::move(answer), [this, name]() -> Result<protocol::SketchName> {
    if (const auto removed = folder_.remove(name); !removed) return removed.error();
    return protocol::SketchName{name};
  });
}

void Songs::propose(const protocol::ProposeSketch& wish, Answer<protocol::SongSketch> answer) {
  if (wish.takes.empty() || wish.takes.size() > 16)
    return answer(invalid_input("params.takes must name 1 to 16 takes."));
  fetch(wish.takes, {}, [this, wish, answer = std::move(answer)](Result<Takes> takes) {
    if (!takes) return answer(takes.error());
    work<protocol::SongSketch>(answer, [this, wish, takes = *takes]() -> Result<protocol::SongSketch> {
      std::vector<song::SketchSource> sources;
      for (const std::uint64_t take : wish.takes) sources.push_back({"", static_cast<std::int64_t>(take)});
      std::string title = wish.title.value_or(takes.front()->detail.summary.title);
      if (title.empty()) title = fmt::format("Take {}", wish.takes.front());
      const auto sketch = song::propose_sketch(sources, reader(takes), title);
      if (!sketch) return sketch.error();
      return sketch_of(*sketch);
    });
  });
}

void Songs::outline(const std::string& name, Answer<protocol::SketchOutline> answer) {
  with_form<protocol::SketchOutline>(
      name, std::move(answer),
      [](const song::Form& form) -> Result<protocol::SketchOutline> { return outline_of(form); });
}

void Songs::hand_over_sketch(const std::string& name, Answer<protocol::HandedOver> answer) {
  with_form<protocol::HandedOver>(name, std::move(answer),
                                  [name](const song::Form& form) -> Result<protocol::HandedOver> {
                                    const auto made = song::hand_over_form(form);
                                    if (!made) return made.error();
                                    return handed(name, *made);
                                  });
}

}  // namespace undersong::server
