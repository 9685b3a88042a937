// undersong sketch new | check | grow | hand-over: works on a song as an ordered list of sections drawn from
// takes.
#include "daemon/song/sketch.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>

#include "clients/offline/commands.h"
#include "clients/replace_option.h"
#include "clients/strings_option.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/road.h"
#include "daemon/song/signs.h"
#include "daemon/song/sketch_folder.h"
#include "daemon/song/sketch_grow.h"

namespace undersong::offline {
namespace {

namespace fs = std::filesystem;

int fail_with(const std::string& why) {
  fmt::print(stderr, "undersong: {}{}\n", why, why.ends_with('.') ? "" : ".");
  return 1;
}

song::SourceReader reader(const fs::path& folder) {
  return [folder](const song::SketchSource& source) -> Result<std::shared_ptr<const song::TakeStudy>> {
    if (source.file.empty())
      return unavailable(fmt::format(
          "take {} is kept by the daemon, not in a file; export it first: undersong export {} FILE.mid",
          source.take, source.take));
    const fs::path path = fs::path(source.file).is_absolute() ? fs::path(source.file) : folder / source.file;
    const auto file = midi::read_smf_file(path);
    if (!file) return file.error();
    return std::make_shared<const song::TakeStudy>(song::study_take({midi::merged_events(*file), {}}));
  };
}

struct SketchOptions {
  std::vector<std::string> files;
  std::string sketch, directory, title;
  bool replace = false;
  std::size_t section = 0, add = 0;  // from 1; 0: none was named
  harmony::PadStyle strings = harmony::PadStyle::kStill;
  bool divisi = false;
};

int make_new(const SketchOptions& options) {
  std::vector<song::SketchSource> sources;
  for (const std::string& file : options.files) sources.push_back({file, 0});
  const std::string title =
      options.title.empty() ? fs::path(options.files.front()).stem().string() : options.title;
  const auto sketch = song::propose_sketch(sources, reader(fs::current_path()), title);
  if (!sketch) return fail_with(sketch.error().message);
  fmt::print("{}", song::write_sketch(*sketch));
  return 0;
}

std::string layer_words(const song::Layers& layers) {
  std::vector<std::string> out;
  if (layers.melody) out.emplace_back("melody");
  if (layers.chords) out.emplace_back("chords");
  if (layers.bass) out.emplace_back("bass");
  if (layers.pad) out.emplace_back("pad");
  return out.empty() ? "silent" : fmt::format("{}", fmt::join(out, ", "));
}

Result<song::Form> form_of(const std::string& name) {
  const auto text = song::read_sketch_file(name);
  if (!text) return text.error();
  const auto sketch = song::read_sketch(*text, name);
  if (!sketch) return sketch.error();
  auto form = song::form_of_sketch(*sketch, reader(fs::absolute(name).parent_path()));
  if (!form) return Error{form.error().code, name + ", " + form.error().message};
  return form;
}

// What a section has beside its notes, where it is not what the song has anyway.
std::string said_beside(const song::Form& form, const song::Part& part) {
  std::string out;
  const auto say = [&](const std::string& word) { out += (out.empty() ? "; " : ", ") + word; };
  if (!part.free && song::meter_of(form, part) != form.meter)
    say(song::text(song::meter_of(form, part).signature()));
  if (song::tempo_of(form, part) != form.tempo)
    say(fmt::format("{:.0f} a minute", song::tempo_of(form, part)));
  if (part.feel == song::Feel::kSwing) say("swing");
  if (!part.dynamic.empty()) say(part.dynamic);
  if (std::any_of(part.melody.begin(), part.melody.end(),
                  [](const auto& note) { return !note.words.empty(); }))
    say("words");
  for (const std::string& sign : {song::begins_text(part.signs), song::ends_text(part.signs)})
    if (!sign.empty()) say(sign);
  if (part.ritardando) say("ritardando");
  if (part.fermata) say("fermata");
  return out;
}

int check(const SketchOptions& options) {
  const auto form = form_of(options.sketch);
  if (!form) return fail_with(form.error().message);
  fmt::print("{}{}; {}, {:.0f} a minute\n\n", form->title, form->key ? ", " + harmony::text(*form->key) : "",
             song::text(form->meter.signature()), form->tempo);
  const auto turns = song::road(*form);
  const auto tempos = song::tempo_steps(*form, turns);
  const auto clock = [&](song::Ticks at) {
    const int seconds = static_cast<int>(song::seconds_until(tempos, at) + .5);
    return fmt::format("{:>2}:{:02d}", seconds / 60, seconds % 60);
  };
  song::Ticks end;
  for (std::size_t i = 0; i < turns.size();) {  // a part and its repeats
    const song::Part& part = form->parts[turns[i].part];
    const std::size_t first = turns[i].part;
    const song::Ticks at = turns[i].at;
    double beats = 0;
    int times = 0;
    for (; i < turns.size() && turns[i].part == first && (times == 0 || turns[i].time > 1); ++i, ++times)
      beats += song::length_at(part, turns[i].time).beats();
    end = at + song::Ticks(std::llround(480 * beats));
    fmt::print("  {}  {:<16} {:>3.0f} bars  {:>2} {}  {}{}\n", clock(at), part.name,
               beats / song::meter_of(*form, part).beats, times, times == 1 ? "time " : "times",
               layer_words(part.layers), said_beside(*form, part));
  }
  fmt::print("\n  {}  the end\n", clock(end));
  return 0;
}

int grow(const SketchOptions& options) {
  const auto text = song::read_sketch_file(options.sketch);
  if (!text) return fail_with(text.error().message);
  const auto sketch = song::read_sketch(*text, options.sketch);
  if (!sketch) return fail_with(sketch.error().message);
  const auto read = reader(fs::absolute(options.sketch).parent_path());
  const auto grown = song::grow_sketch(
      *sketch, read, options.section > 0 ? std::optional(options.section - 1) : std::nullopt);
  if (!grown) return fail_with(options.sketch + ", " + grown.error().message);
  std::string symbols;
  for (const auto& chord : grown->chords) symbols += " " + harmony::symbol(chord.chord, chord.root);
  const std::string& from = sketch->sections[grown->from].name;
  fmt::print("{} {}\n  section {}, {}\n", from, symbols, grown->from + 1, harmony::text(grown->key));
  for (std::size_t i = 0; i < grown->sections.size(); ++i)
    fmt::print("\n{:>2}  {}: {}\n    {}.\n", i + 1, grown->sections[i].name, grown->sections[i].chord_line,
               grown->growth.sections[i].reason);
  if (options.add == 0) return 0;
  const auto now = song::grown_text(*text, options.sketch, *sketch, *grown, options.add - 1, read);
  if (!now) return fail_with(options.sketch + ", " + now.error().message);
  if (const auto written = song::write_sketch_file(options.sketch, *now); !written)
    return fail_with(written.error().message);
  fmt::print("\n{} now has {} after {}.\n", options.sketch, options.add, from);
  return 0;
}

int hand_over(const SketchOptions& options) {
  const auto form = form_of(options.sketch);
  if (!form) return fail_with(form.error().message);
  const auto folder = song::hand_over_form(*form, {options.strings, options.divisi});
  if (!folder) return fail_with(folder.error().message);
  if (const auto written = song::write_folder(*folder, options.directory, options.replace); !written)
    return fail_with(written.error().message);
  fmt::print("{}: {} sections{}, {}, {:.0f} a minute\n", options.directory, form->parts.size(),
             form->key ? ", " + harmony::text(*form->key) : "", song::text(form->meter.signature()),
             form->tempo);
  for (const auto& made : folder->files) fmt::print("  {:<26} {} bytes\n", made.name, made.bytes.size());
  return 0;
}

}  // namespace

void add_sketch(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<SketchOptions>();
  auto* command = program.add_subcommand("sketch", "Make a song of sections drawn from takes, in a file");
  command->group("");  // `song` with a file leads here; alone it is the earlier name
  command->require_subcommand(1);
  auto* fresh =
      command->add_subcommand("new", "Propose a song from standard MIDI files, as TOML on standard output");
  fresh->add_option("FILE", options->files, "standard MIDI files, format 0 or 1")->required();
  fresh->add_option("--title", options->title, "title of the song; by default the name of the first file");
  fresh->callback([options, &exit_code] { exit_code = make_new(*options); });
  auto* look =
      command->add_subcommand("check", "Read a song and say what it makes, or what is wrong and where");
  look->add_option("SONG", options->sketch, "file with a song, in TOML")->required();
  look->callback([options, &exit_code] { exit_code = check(*options); });
  auto* grown = command->add_subcommand(
      "grow", "Propose bridges and interludes, without a tune, that contrast with the loop of a section");
  grown->add_option("SONG", options->sketch, "file with a song, in TOML")->required();
  grown
      ->add_option("--section", options->section,
                   "number of the section; by default the first verse, theme or chorus")
      ->check(CLI::Range(1, 200));
  grown
      ->add_option("--add", options->add,
                   "write the proposal of this number into the song, after the section")
      ->check(CLI::Range(1, 8));
  grown->callback([options, &exit_code] { exit_code = grow(*options); });
  auto* give = command->add_subcommand(
      "hand-over", "Write a song's score, parts, lead sheet and chord chart into a folder");
  give->add_option("SONG", options->sketch, "file with a song, in TOML")->required();
  give->add_option("DIR", options->directory, "the folder; created if it does not exist")->required();
  add_strings_option<harmony::PadStyle>(*give, options->strings);
  add_divisi_option(*give, options->divisi);
  add_replace_option(*give, options->replace, kIntoFullFolder);
  give->callback([options, &exit_code] { exit_code = hand_over(*options); });
}

}  // namespace undersong::offline
