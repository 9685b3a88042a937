// undersong analyse FILE.mid: the live path over a file, without waiting.
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>

#include "clients/offline/commands.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/analysis.h"
#include "daemon/midi/smf.h"

namespace undersong::offline {
namespace {

double seconds(Micros at) { return std::chrono::duration<double>(at).count(); }

struct Options {
  std::string file;
  bool events = false;
};

// One JSON line for each change, in the order in which a listener would have been told.
void print_events(const listen::Analysis& analysis) {
  const listen::Moment& moment = analysis.moment();
  const listen::Findings& found = analysis.findings();
  if (found.harmony) {
    const auto& harmony = *moment.harmony;
    fmt::print("{{\"t\":{:.6f},\"chord\":\"{}\",\"since\":{:.6f}}}\n", seconds(moment.at),
               harmony::harte(harmony.reading.chord, harmony.reading.root_name), seconds(harmony.since));
  }
  for (const auto& note : found.melody)
    fmt::print("{{\"t\":{:.6f},\"onset\":{:.6f},\"pitch\":{},\"melody\":true}}\n", seconds(moment.at), seconds(note.since),
               note.pitch.value());
  if (found.key)
    fmt::print("{{\"t\":{:.6f},\"key\":\"{}\"}}\n", seconds(moment.at), harmony::harte(moment.key->key));
}

// The chords as a person would note them: from when, what, in which key.
void print_table(const listen::Analysis& analysis) {
  const listen::Moment& moment = analysis.moment();
  if (!analysis.findings().harmony) return;
  const auto& harmony = *moment.harmony;
  const auto since = seconds(harmony.since);
  fmt::print("{:3d}:{:05.2f}  {:<14}", static_cast<int>(since) / 60, since - 60 * (static_cast<int>(since) / 60),
             harmony::symbol(harmony.reading.chord, harmony.reading.root_name));
  if (!moment.melody.empty())
    fmt::print("  melody {:<4} {:<5}", harmony::text(moment.melody[0].name, moment.melody[0].pitch),
               harmony::text(moment.melody[0].degree));
  if (moment.key) fmt::print("  {}", harmony::text(moment.key->key));
  fmt::print("\n");
}

int run(const Options& options) {
  const auto file = midi::read_smf_file(options.file);
  if (!file) {
    fmt::print(stderr, "undersong: {}\n", file.error().message);
    return 1;
  }
  for (const auto& warning : file->warnings) fmt::print(stderr, "undersong: {}\n", warning);
  listen::Settings settings;
  settings.names_only = true;
  listen::Analysis analysis(settings);
  const auto each = [&](const listen::Analysis& changed) { options.events ? print_events(changed) : print_table(changed); };
  Micros last{};
  for (const midi::Event& event : midi::merged_events(*file)) {
    listen::drive(analysis, event, each);
    last = event.at;
  }
  listen::drive(analysis, last + Micros(5'000'000), each);
  if (analysis.moment().number == 0) fmt::print(stderr, "undersong: {}: no notes in this file.\n", options.file);
  return 0;
}

}  // namespace

void add_analyse(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<Options>();
  auto* command = program.add_subcommand("analyse", "Listen to a standard MIDI file as if it were played now");
  command->add_option("FILE", options->file, "standard MIDI file, format 0 or 1")->required();
  command->add_flag("--events", options->events, "print JSON lines, one for each change");
  command->callback([options, &exit_code] { exit_code = run(*options); });
}

}  // namespace undersong::offline
