// undersong hand-over FILE.mid DIR: writes parts, lead sheet and chord chart for other musicians.
#include "daemon/song/hand_over.h"

#include <fmt/format.h>

#include <filesystem>
#include <memory>
#include <optional>

#include "clients/offline/beat_options.h"
#include "clients/offline/commands.h"
#include "clients/replace_option.h"
#include "clients/strings_option.h"
#include "daemon/midi/smf.h"

namespace undersong::offline {
namespace {

struct HandOverOptions {
  std::string file, directory, title;
  std::optional<double> tempo;
  bool steady = false, replace = false;
  harmony::PadStyle strings = harmony::PadStyle::kStill;
  bool divisi = false;
  BeatOptions beat;
};

std::string part_count(std::size_t parts) {
  return fmt::format("{} {}", parts, parts == 1 ? "part" : "parts");
}

int run_hand_over(const HandOverOptions& options) {
  const auto fail = [](const std::string& why) {
    fmt::print(stderr, "undersong: {}\n", why);
    return 1;
  };
  const auto file = midi::read_smf_file(options.file);
  if (!file) return fail(file.error().message);
  for (const auto& warning : file->warnings) fmt::print(stderr, "undersong: {}\n", warning);
  song::HandOverOptions wish;
  wish.title = options.title.empty() ? std::filesystem::path(options.file).stem().string() : options.title;
  wish.parts.steady = options.steady;
  wish.parts.tempo = options.tempo;
  wish.parts.strings = {options.strings, options.divisi};
  const auto events = midi::merged_events(*file);
  const auto said = options.beat.said(events);
  if (!said) return fail(options.file + ": " + said.error().message);
  const song::TakeStudy study = song::study_take({events, *said});
  if (const auto wrong = options.beat.refused(study.beats)) return fail(options.file + ": " + wrong->message);
  const auto folder = song::hand_over(events, study, wish);
  if (!folder) return fail(options.file + ": " + folder.error().message);
  if (const auto written = song::write_folder(*folder, options.directory, options.replace); !written)
    return fail(written.error().message);
  for (const auto& remark : folder->remarks) fmt::print(stderr, "undersong: {}: {}\n", options.file, remark);
  const song::Form& form = folder->form;
  fmt::print("{}: {}{}{}; strings move {} semitones, {} parallels\n", options.directory,
             part_count(form.parts.size()), form.key ? ", " + harmony::text(*form.key) : "",
             form.pulse ? fmt::format(", {}, {:.0f} a minute", song::text(form.meter.signature()), form.tempo)
                        : ", no pulse",
             folder->pad_motion, folder->pad_parallels);
  for (const auto& made : folder->files) fmt::print("  {:<26} {} bytes\n", made.name, made.bytes.size());
  return 0;
}

}  // namespace

void add_hand_over(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<HandOverOptions>();
  auto* command = program.add_subcommand(
      "hand-over", "Write score, parts, lead sheet and chord chart of a standard MIDI file into a folder");
  command->add_option("FILE", options->file, "standard MIDI file, format 0 or 1")->required();
  command->add_option("DIR", options->directory, "the folder; created if it does not exist")->required();
  auto* steady = command
                     ->add_option("--steady", options->tempo,
                                  "a steady tempo instead of the player's, in beats per minute; without a "
                                  "number, that of the take")
                     ->expected(0, 1);
  options->beat.add_to(*command);
  command->add_option("--title", options->title, "title of the pages; by default the name of the file");
  add_strings_option<harmony::PadStyle>(*command, options->strings);
  add_divisi_option(*command, options->divisi);
  add_replace_option(*command, options->replace, kIntoFullFolder);
  command->callback([options, steady, &exit_code] {
    options->steady = steady->count() > 0;
    const auto given = steady->results();
    if (given.empty() || given.front().empty()) options->tempo.reset();
    exit_code = run_hand_over(*options);
  });
}

}  // namespace undersong::offline
