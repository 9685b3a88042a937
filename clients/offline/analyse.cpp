// undersong analyse FILE.mid: runs the live analysis over a file, without waiting.
#include <fmt/format.h>

#include <cstdio>
#include <future>
#include <iterator>
#include <memory>
#include <string>
#include <vector>

#include "clients/offline/beat_options.h"
#include "clients/offline/commands.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/listen/analysis.h"
#include "daemon/listen/pulse.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/study.h"

namespace undersong::offline {
namespace {

constexpr Micros kAfterwards{5'000'000};  // time for decisions that are still open after the last event

struct AnalyseOptions {
  std::string file;
  bool events = false;
  bool afterwards = false;  // beats found from the whole take instead of those found live
  BeatOptions beat;         // corrections of those
};

// Appends one JSON line for each change, in the order in which a client would have received it.
void append_events(std::string& out, const listen::Analysis& analysis) {
  const listen::Moment& moment = analysis.moment();
  const listen::Findings& found = analysis.findings();
  if (found.harmony) {
    const auto& harmony = *moment.harmony;
    fmt::format_to(std::back_inserter(out), "{{\"t\":{:.6f},\"chord\":\"{}\",\"since\":{:.6f}}}\n",
                   seconds(moment.at), harmony::harte(harmony.reading.chord, harmony.reading.root_name),
                   seconds(harmony.since));
  }
  for (const auto& note : found.melody)
    fmt::format_to(std::back_inserter(out),
                   "{{\"t\":{:.6f},\"onset\":{:.6f},\"pitch\":{},\"melody\":true}}\n", seconds(moment.at),
                   seconds(note.since), note.pitch.value());
  if (found.key)
    fmt::format_to(std::back_inserter(out), "{{\"t\":{:.6f},\"key\":\"{}\"}}\n", seconds(moment.at),
                   harmony::harte(moment.key->key));
}

std::string beat_line(Micros told, Micros beat, bool downbeat) {
  return fmt::format("{{\"t\":{:.6f},\"beat\":{:.6f}{}}}\n", seconds(told), seconds(beat),
                     downbeat ? ",\"downbeat\":true" : "");
}

// Finds beats live, with the same class as the daemon.
class LiveBeats {
 public:
  // The lines to print before this event is analysed.
  std::string event(const midi::Event& event) {
    std::string out = advance(event.at);
    for (const auto& change : notes_.apply(event))
      if (change.kind == listen::NoteChange::Kind::kStruck)
        pulse_.note_on(event.at, change.pitch, change.velocity);
    return out + told();
  }
  std::string advance(Micros at) {
    for (auto due = pulse_.next_deadline(); due && *due <= at; due = pulse_.next_deadline())
      pulse_.advance(*due);
    pulse_.advance(at);
    return told();
  }

 private:
  std::string told() {
    std::string out;
    while (const auto beat = pulse_.take_beat()) out += beat_line(beat->told, beat->at, beat->place == 0);
    return out;
  }
  listen::NoteState notes_;
  listen::Pulse pulse_;
};

// The beat lines before each event, and those after the last one. Harmony and beat are independent, so this
// runs on a thread of its own.
std::vector<std::string> told_beats(const std::vector<midi::Event>& events) {
  std::vector<std::string> out;
  out.reserve(events.size() + 1);
  LiveBeats beats;
  for (const midi::Event& event : events) out.push_back(beats.event(event));
  out.push_back(beats.advance((events.empty() ? Micros{} : events.back().at) + kAfterwards));
  return out;
}

void print_revised_beats(const std::vector<midi::Event>& events, const takes::Beats& beats) {
  const Micros end = events.empty() ? Micros{} : events.back().at;
  for (const auto& beat : beats.beats) fmt::print("{}", beat_line(end, beat.at, beat.downbeat));
}

// Prints a chord as a person would note it: time, name, melody note and key.
void print_analyse_table(const listen::Analysis& analysis) {
  const listen::Moment& moment = analysis.moment();
  if (!analysis.findings().harmony) return;
  const auto& harmony = *moment.harmony;
  const auto since = seconds(harmony.since);
  fmt::print("{:3d}:{:05.2f}  {:<14}", static_cast<int>(since) / 60,
             since - 60 * (static_cast<int>(since) / 60),
             harmony::symbol(harmony.reading.chord, harmony.reading.root_name));
  if (!moment.melody.empty())
    fmt::print("  melody {:<4} {:<5}", harmony::text(moment.melody[0].name, moment.melody[0].pitch),
               harmony::text(moment.melody[0].degree));
  if (moment.key) fmt::print("  {}", harmony::text(moment.key->key));
  fmt::print("\n");
}

int run_analyse(const AnalyseOptions& options) {
  const auto file = midi::read_smf_file(options.file);
  if (!file) {
    fmt::print(stderr, "undersong: {}\n", file.error().message);
    return 1;
  }
  for (const auto& warning : file->warnings) fmt::print(stderr, "undersong: {}\n", warning);
  listen::Settings settings;
  settings.names_only = true;
  listen::Analysis analysis(settings);
  const auto events = midi::merged_events(*file);
  const Micros end = (events.empty() ? Micros{} : events.back().at) + kAfterwards;
  const auto fail = [&](const std::string& why) {
    fmt::print(stderr, "undersong: {}: {}\n", options.file, why);
    return 1;
  };
  const auto said = options.beat.said(events);
  if (!said) return fail(said.error().message);
  if (!said->empty() && !(options.events && options.afterwards))
    return fail("--beat corrects the beats that --events --afterwards prints.");
  if (!options.events) {
    for (const midi::Event& event : events) listen::drive(analysis, event, print_analyse_table);
    listen::drive(analysis, end, print_analyse_table);
  } else {
    std::future<std::vector<std::string>> beats;
    std::future<takes::Study> study;
    if (options.afterwards)
      study = std::async(std::launch::async, [&] { return takes::study_of(events, *said); });
    else
      beats = std::async(std::launch::async, told_beats, std::cref(events));
    std::vector<std::string> heard(1);  // the lines at each event, and those after the last one
    const auto each = [&](const listen::Analysis& changed) { append_events(heard.back(), changed); };
    for (const midi::Event& event : events) {
      listen::drive(analysis, event, each);
      heard.emplace_back();
    }
    listen::drive(analysis, end, each);
    const auto told = beats.valid() ? beats.get() : std::vector<std::string>(heard.size());
    for (std::size_t i = 0; i < heard.size(); ++i) fmt::print("{}{}", told[i], heard[i]);
    if (options.afterwards) {
      const takes::Study found = study.get();
      if (const auto wrong = options.beat.refused(found.beats)) return fail(wrong->message);
      print_revised_beats(events, found.beats);
    }
  }
  if (analysis.moment().number == 0)
    fmt::print(stderr, "undersong: {}: no notes in this file.\n", options.file);
  return 0;
}

}  // namespace

void add_analyse(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<AnalyseOptions>();
  auto* command =
      program.add_subcommand("analyse", "Listen to a standard MIDI file as if it were played now");
  command->add_option("FILE", options->file, "standard MIDI file, format 0 or 1")->required();
  command->add_flag("--events,--json", options->events, "print JSON lines, one for each change");
  command->add_flag("--afterwards", options->afterwards,
                    "with --events: beats as found when the whole take is known");
  options->beat.add_to(*command);
  command->callback([options, &exit_code] { exit_code = run_analyse(*options); });
}

}  // namespace undersong::offline
