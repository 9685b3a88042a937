// song list | new | show | check | play | grow | hand-over | delete: sketches of songs that the daemon
// stores, made from takes.
//
// They have a command of their own, because `sketch` works on files; a name here is a sketch on the daemon's
// list.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include "clients/replace_option.h"
#include "clients/strings_option.h"
#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/handed_files.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

// Sections may come from several long takes, and a small machine also has to listen meanwhile.
constexpr std::chrono::minutes kSketchPatience{2};

std::optional<Problem> list_sketches(protocol::Connection& daemon) {
  const auto found = daemon.request(protocol::ListSketches{});
  if (!found) return found.error();
  for (const auto& each : found->sketches)
    say("{:<24} {}\n", each.name,
        each.problem.empty()
            ? fmt::format("{}, {} section{}", each.title, each.sections, each.sections == 1 ? "" : "s")
            : each.problem);
  if (found->sketches.empty()) say("No song is kept yet; undersong song new NAME TAKE makes one.\n");
  say("The files are in {}.\n", found->folder);
  return std::nullopt;
}

std::optional<Problem> check(protocol::Connection& daemon, const std::string& name) {
  const auto made = daemon.request(protocol::OutlineSketch{.name = name}, kSketchPatience);
  if (!made) return made.error();
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  say("{}: {}{}/4, {:.0f} beats a minute\n", made->title, made->key ? *made->key + ", " : "", made->meter,
      made->tempo);
  for (const auto& part : made->parts) {
    say("  {:<16} {:>5g} beats, {} time{}  ", part.name, part.beats, part.times, part.times == 1 ? " " : "s");
    for (const auto& chord : part.chords) say(" {}", symbol(chord, *style));
    say("\n");
  }
  return std::nullopt;
}

struct New {
  std::string name, title;
  std::vector<std::uint64_t> takes;
  bool replace = false;
};

std::optional<Problem> make(protocol::Connection& daemon, const New& wish) {
  const auto kept = daemon.request(protocol::ListSketches{});
  if (!kept) return kept.error();
  const bool there = std::any_of(kept->sketches.begin(), kept->sketches.end(),
                                 [&](const auto& each) { return each.name == wish.name; });
  if (there && !wish.replace)
    return Problem{fmt::format("A song named {} already exists. Use --replace to replace it.", wish.name)};
  protocol::ProposeSketch ask;
  ask.takes = wish.takes;
  if (!wish.title.empty()) ask.title = wish.title;
  const auto proposed = daemon.request(ask, kSketchPatience);
  if (!proposed) return proposed.error();
  protocol::PutSketch put;
  put.name = wish.name;
  put.sketch = *proposed;
  const auto done = daemon.request(put);
  if (!done) return done.error();
  say("Kept as {}.\n", done->name);
  return check(daemon, done->name);
}

std::optional<Problem> grow(protocol::Connection& daemon, const protocol::GrowSketch& wish) {
  const auto grown = daemon.request(wish, kSketchPatience);
  if (!grown) return grown.error();
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  const auto symbols = [&](const std::vector<protocol::Chord>& chords, std::string_view between) {
    std::string out;
    for (const auto& chord : chords) out += (out.empty() ? "" : std::string(between)) + symbol(chord, *style);
    return out;
  };
  say("{}  {}\n  section {}, {}\n", grown->from, symbols(grown->chords, " "), grown->section, grown->key);
  for (std::size_t i = 0; i < grown->proposals.size(); ++i) {
    const auto& made = grown->proposals[i];
    say("\n{:>2}  {}: {}\n    {}.\n", i + 1, made.section.name, symbols(made.chords, " | "), made.reason);
  }
  if (grown->added) say("\n{} now has {} after {}.\n", grown->added->name, wish.add->value, grown->from);
  return std::nullopt;
}

std::optional<Problem> play_sketch(protocol::Connection& daemon, const protocol::PlaySketch& wish) {
  const auto playing = daemon.request(wish, kSketchPatience);
  if (!playing) return playing.error();
  say("Playing {} from {} to {}. `undersong stop` ends it.\n", *wish.name, duration(playing->from_us),
      duration(playing->to_us));
  return std::nullopt;
}

std::optional<Problem> show_sketch(protocol::Connection& daemon, const std::string& name) {
  const auto found = daemon.request(protocol::GetKeptSketch{.name = name});
  if (!found) return found.error();
  say("{}", found->text);
  return std::nullopt;
}

std::optional<Problem> remove(protocol::Connection& daemon, const std::string& name) {
  const auto done = daemon.request(protocol::DeleteSketch{.name = name});
  if (!done) return done.error();
  say("{} is off the list; its file is kept under a name that ends in .deleted.\n", done->name);
  return std::nullopt;
}

}  // namespace

void add_sketches(CLI::App& program, Session& session) {
  auto* group = program.add_subcommand(
      "song", "Songs made from takes: a list that the daemon keeps, or files of your own");
  group->footer(
      "new, check, grow and hand-over also take files instead of a name, and then need no daemon: `undersong "
      "song new FILE.mid > "
      "song.toml`, `undersong song check song.toml`.");
  group->require_subcommand(1);

  auto* listed = group->add_subcommand("list", "List the songs, and say where their files are");
  add_json(*listed, session, {protocol::ListSketches::kMethod});
  listed->callback([&session] {
    session.with_daemon([](protocol::Connection& daemon) { return list_sketches(daemon); });
  });

  auto wish = std::make_shared<New>();
  auto* fresh = group->add_subcommand("new", "Make a first song from what was found in takes, and save it");
  fresh->add_option("NAME", wish->name, "name of the song: letters, digits, spaces, - and _")->required();
  fresh->add_option("TAKE", wish->takes, "numbers of takes")->required();
  fresh->add_option("--title", wish->title, "title of the song; by default the title of the first take");
  add_replace_option(*fresh, wish->replace, "replace a song that has this name");
  add_json(*fresh, session, {protocol::PutSketch::kMethod, protocol::OutlineSketch::kMethod});
  fresh->callback([wish, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return make(daemon, *wish); });
  });

  auto name = std::make_shared<std::string>();
  const auto with_name = [&](const char* word, const char* about, std::string_view method,
                             std::optional<Problem> (*work)(protocol::Connection&, const std::string&)) {
    auto* command = group->add_subcommand(word, about);
    command->add_option("NAME", *name, "name of the song")->required();
    add_json(*command, session, {method});
    command->callback([name, work, &session] {
      session.with_daemon([&](protocol::Connection& daemon) { return work(daemon, *name); });
    });
  };
  with_name("show", "Print a song as TOML", protocol::GetKeptSketch::kMethod, show_sketch);
  with_name("check", "Print the parts that a song makes, or which section cannot be made",
            protocol::OutlineSketch::kMethod, check);
  with_name("delete", "Remove a song from the list", protocol::DeleteSketch::kMethod, remove);

  struct Played {
    std::string name;
    int section = 0, velocity = 0;  // 0: none was named
    bool only = false;
  };
  auto played = std::make_shared<Played>();
  auto* play =
      group->add_subcommand("play", "Play a song on the MIDI output, quietly (mind the instrument's volume)");
  play->add_option("NAME", played->name, "name of the song")->required();
  auto* section = play->add_option("--section", played->section, "number of the section to begin with")
                      ->check(CLI::Range(1, 200));
  play->add_flag("--only", played->only, "end where that section ends")->needs(section);
  play->add_option("--velocity", played->velocity,
                   "mean loudness to reduce it to; by default as in the settings")
      ->check(CLI::Range(1, 127));
  add_json(*play, session, {protocol::PlaySketch::kMethod});
  play->callback([played, &session] {
    protocol::PlaySketch asked{.name = played->name};
    if (played->section > 0) asked.section = played->section;
    if (played->only) asked.only = true;
    if (played->velocity > 0) asked.velocity = played->velocity;
    session.with_daemon([&](protocol::Connection& daemon) { return play_sketch(daemon, asked); });
  });

  struct Grown {
    std::string name;
    int section = 0, add = 0;  // from 1; 0: none was named
  };
  auto grown = std::make_shared<Grown>();
  auto* more = group->add_subcommand(
      "grow", "Propose bridges and interludes, without a tune, that contrast with the loop of a section");
  more->add_option("NAME", grown->name, "name of the song")->required();
  more->add_option("--section", grown->section,
                   "number of the section; by default the first verse, theme or chorus")
      ->check(CLI::Range(1, 200));
  more->add_option("--add", grown->add, "write the proposal of this number into the song, after the section")
      ->check(CLI::Range(1, 8));
  add_json(*more, session, {protocol::GrowSketch::kMethod});
  more->callback([grown, &session] {
    protocol::GrowSketch asked{.name = grown->name};
    if (grown->section > 0) asked.section = grown->section;
    if (grown->add > 0) asked.add = grown->add;
    session.with_daemon([&](protocol::Connection& daemon) { return grow(daemon, asked); });
  });

  struct Given {
    std::string name, directory;
    bool replace = false, divisi = false;
    std::optional<protocol::StringStyle> strings;
  };
  auto given = std::make_shared<Given>();
  auto* give = group->add_subcommand("hand-over",
                                     "Write a song's score, parts, lead sheet and chord chart into a folder");
  give->add_option("NAME", given->name, "name of the song")->required();
  give->add_option("DIR", given->directory, "the folder; created if it does not exist")->required();
  add_strings_option<protocol::StringStyle>(*give, given->strings);
  add_divisi_option(*give, given->divisi);
  add_replace_option(*give, given->replace, kIntoFullFolder);
  give->callback([given, &session] {
    session.with_daemon([&](protocol::Connection& daemon) -> std::optional<Problem> {
      if (auto unfit = unfit_for_files(given->directory, given->replace)) return unfit;
      const auto made = daemon.request(
          protocol::HandOverSketch{.name = given->name, .strings = given->strings, .divisi = given->divisi},
          kSketchPatience);
      if (!made) return made.error();
      return write_files(*made, given->directory);
    });
  });
}

}  // namespace undersong::terminal
