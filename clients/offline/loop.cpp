// undersong loop FILE.mid: finds the chord loops, each pass through them, and the sections over them.
#include <fmt/format.h>

#include <boost/json.hpp>
#include <cmath>
#include <iostream>
#include <memory>
#include <string>

#include "clients/offline/commands.h"
#include "clients/offline/heard_loop.h"
#include "daemon/harmony/chord_symbol.h"
#include "daemon/midi/smf.h"
#include "daemon/takes/section.h"

namespace undersong::offline {
namespace {

namespace json = boost::json;

double to_ten_thousandth(double value) {
  return std::round(value * 1e4) / 1e4;
}

std::string clock(Micros at) {
  const int tenths = static_cast<int>(std::lround(10 * seconds(at)));
  return fmt::format("{}:{:02d}.{}", tenths / 600, tenths / 10 % 60, tenths % 10);
}

double bpm(const takes::Beats& beats) {
  std::vector<double> gaps;
  for (std::size_t i = 1; i < beats.beats.size(); ++i)
    if (!beats.beats[i].begins) gaps.push_back(seconds(beats.beats[i].at - beats.beats[i - 1].at));
  if (gaps.empty()) return 0;
  std::nth_element(gaps.begin(), gaps.begin() + static_cast<std::ptrdiff_t>(gaps.size() / 2), gaps.end());
  return 60 / gaps[gaps.size() / 2];
}

// The members are those of the protocol's TakeLoop, with these differences: `chords` are Harte texts alone
// and their lengths stand beside them; and a pass has its `start` and `end` in seconds too.
json::object as_json(const takes::Loop& loop, const takes::Sections& sections) {
  json::object out;
  json::array chords, lengths, passes, parts;
  for (const auto& chord : loop.chords) {
    chords.emplace_back(harmony::harte(chord.chord, chord.root));
    json::object length{{"length_us", chord.length.count()}};
    if (chord.beats > 0) length["beats"] = chord.beats;
    lengths.push_back(std::move(length));
  }
  for (std::size_t i = 0; i < loop.passes.size(); ++i) {
    const auto& pass = loop.passes[i];
    passes.push_back(json::object{{"at", pass.begin.count()},
                                  {"length_us", (pass.end - pass.begin).count()},
                                  {"start", to_ten_thousandth(seconds(pass.on_beat))},
                                  {"end", to_ten_thousandth(seconds(pass.end))},
                                  {"section", sections.sections[sections.of_pass[i]].label},
                                  {"variant", pass.variant},
                                  {"cut", pass.cut},
                                  {"transposed", pass.transposed},
                                  {"difference", describe_difference(loop, pass)}});
  }
  for (const auto& section : sections.sections) {
    const Micros begin = loop.passes[section.first].begin,
                 end = loop.passes[section.first + section.count - 1].end;
    parts.push_back(json::object{{"label", section.label},
                                 {"kind", text(section.kind)},
                                 {"first", section.first},
                                 {"passes", section.count},
                                 {"at", begin.count()},
                                 {"length_us", (end - begin).count()},
                                 {"reason", section.reason}});
  }
  out["chords"] = std::move(chords);
  out["lengths"] = std::move(lengths);
  out["confidence"] = to_ten_thousandth(loop.confidence);
  out["passes"] = std::move(passes);
  out["sections"] = std::move(parts);
  return out;
}

// The loop that explains most stands by itself, and again as the first of all loops.
void print_loop_json(const takes::Study& found) {
  json::object out = as_json(*found.loop, found.sections);
  json::array loops{out};
  for (const auto& other : found.others) loops.push_back(as_json(other.loop, other.sections));
  out["loops"] = std::move(loops);
  const takes::Beats& beats = found.beats;
  if (beats.pulse()) {
    out["tempo"] = std::round(10 * bpm(beats)) / 10;
    out["meter"] = beats.meter;
    const auto written =
        harmony::time_signature(beats.meter, beats.feel.division, seconds(takes::usual_length(beats)));
    out["division"] = beats.feel.division;
    out["signature"] = json::object{{"upper", written.upper}, {"lower", written.lower}};
    out["swing"] = to_ten_thousandth(static_cast<double>(beats.feel.swing));
  }
  std::cout << json::serialize(out) << '\n';
}

// " (6/8)", ", swung 1.8 to 1"
std::string feel_words(const takes::Beats& beats) {
  const auto written =
      harmony::time_signature(beats.meter, beats.feel.division, seconds(takes::usual_length(beats)));
  std::string out;
  if (written.lower != 4) out = fmt::format(" ({}/{})", written.upper, written.lower);
  if (beats.feel.swing > 1) out += fmt::format(", swung {:.1f} to 1", beats.feel.swing);
  return out;
}

void print_loop(const takes::Loop& loop, const takes::Beats& beats, std::string_view title) {
  fmt::print("{}", title);
  double length = 0;
  for (const auto& chord : loop.chords) {
    length += chord.beats > 0 ? chord.beats : seconds(chord.length);
    fmt::print(" {} ({:.3g})", harmony::symbol(chord.chord, chord.root),
               chord.beats > 0 ? chord.beats : seconds(chord.length));
  }
  fmt::print("\n       {:.3g} {}, {} times, {:.0f} % sure\n", length, beats.pulse() ? "beats" : "seconds",
             loop.passes.size(), 100 * loop.confidence);
}

void print_sections(const takes::Loop& loop, const takes::Sections& sections) {
  for (const auto& section : sections.sections) {
    fmt::print("\n{:<3} {}, {} to {}. {}\n", section.label, text(section.kind),
               clock(loop.passes[section.first].begin),
               clock(loop.passes[section.first + section.count - 1].end), section.reason);
    for (std::size_t i = section.first; i < section.first + section.count; ++i) {
      const std::string difference = describe_difference(loop, loop.passes[i]);
      fmt::print("    {:>2}  {:>7}{}{}\n", i + 1, clock(loop.passes[i].begin), difference.empty() ? "" : "  ",
                 difference);
    }
  }
}

void print_summary(const takes::Study& found) {
  const takes::Beats& beats = found.beats;
  print_loop(*found.loop, beats, "Loop  ");
  if (beats.pulse())
    fmt::print("Beat   {:.0f} a minute, {} a bar{}, {:.0f} % sure\n", bpm(beats), beats.meter,
               feel_words(beats), 100 * beats.confidence);
  else
    fmt::print("Beat   no pulse was found; lengths are in seconds\n");
  print_sections(*found.loop, found.sections);
  for (std::size_t i = 0; i < found.others.size(); ++i) {
    fmt::print("\n");
    print_loop(found.others[i].loop, beats, fmt::format("Loop {}", i + 2));
    print_sections(found.others[i].loop, found.others[i].sections);
  }
}

struct LoopOptions {
  std::string file;
  bool json = false;
  BeatOptions beat;
};

int run_loop(const LoopOptions& options) {
  const auto heard = hear_loop(options.file, options.beat);
  if (!heard) return 1;
  options.json ? print_loop_json(*heard) : print_summary(*heard);
  return 0;
}

}  // namespace

void add_loop(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<LoopOptions>();
  auto* command = program.add_subcommand(
      "loop", "Find the chord cycles that were circled in a standard MIDI file, and their sections");
  command->add_option("FILE", options->file, "standard MIDI file, format 0 or 1")->required();
  options->beat.add_to(*command);
  command->add_flag("--json", options->json, "print one JSON object");
  command->callback([options, &exit_code] { exit_code = run_loop(*options); });
}

}  // namespace undersong::offline
