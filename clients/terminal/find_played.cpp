// take find: finds the takes that hold what was just played, or a part of another take.
#include <fmt/format.h>

#include <memory>
#include <string>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/play_found.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

struct FindOptions {
  std::uint64_t take = 0;
  double last = 0, from = -1, to = -1;
  int play = 0;
};

std::string_view word(protocol::FoundAs as) {
  switch (as) {
    case protocol::FoundAs::kTune: return "tune";
    case protocol::FoundAs::kChords: return "chords";
    case protocol::FoundAs::kPassage: break;
  }
  return "passage";
}

// How often, and where apart from the first place.
std::string where_else(const protocol::FoundTake& found) {
  std::string out = found.times.value > 1 ? fmt::format("  {} times", found.times.value) : "";
  for (const auto& other : found.others)
    out += (&other == &found.others.front() ? ", also at " : ", ") + duration(other.from_us);
  return out;
}

std::optional<Problem> find(protocol::Connection& daemon, const FindOptions& options) {
  const auto micros = [](double seconds) { return static_cast<protocol::TimeUs>(seconds * 1e6); };
  protocol::FindPlayed wanted;
  if (options.take != 0) wanted.take = options.take;
  if (options.from >= 0) wanted.from_us = micros(options.from);
  if (options.to >= 0) wanted.to_us = micros(options.to);
  if (options.last > 0) wanted.last_us = micros(options.last);
  const auto found = daemon.request(wanted);
  if (!found) return found.error();
  say("Looked for {} notes in {} take{}{}\n", found->notes, found->takes, found->takes == 1 ? "" : "s",
      found->found.empty() ? ": nothing like them is there." : ":");
  int number = 0;
  for (const auto& each : found->found)
    say("{:3d}  take {:4d}  {}  {:>8}  {:5.1f} s  {:<7}{}{}\n", ++number, each.take,
        local_time(each.begin_utc_ms), duration(each.from_us), static_cast<double>(each.length_us) / 1e6,
        word(each.as), where_else(each), each.title.empty() ? "" : "  " + each.title);
  if (found->unprepared > 0)
    say("{} older take{} not been prepared for this yet, and not in this answer.\n", found->unprepared,
        found->unprepared == 1 ? " has" : "s have");
  return play_found(daemon, "place", options.play, found->found);
}

}  // namespace

void add_find_played(CLI::App& group, Session& session) {
  auto options = std::make_shared<FindOptions>();
  auto* command = group.add_subcommand(
      "find",
      "Find the takes that hold what you just played: a tune, a progression or a passage, in any key");
  command->add_option("TAKE", options->take, "the take that it was played in; by default the newest");
  auto* last = command->add_option("--last", options->last, "the last so many seconds of the take")
                   ->check(CLI::Range(0.1, 86400.0));
  command->add_option("--from", options->from, "seconds after the beginning of the take")
      ->check(CLI::Range(0.0, 86400.0))
      ->excludes(last);
  command->add_option("--to", options->to, "seconds after the beginning of the take")
      ->check(CLI::Range(0.0, 86400.0))
      ->excludes(last);
  command->add_option("--play", options->play, "play this place on the MIDI output; 1 is the best")
      ->check(CLI::Range(1, 20));
  command->footer(
      "Without --last, --from and --to: what was played since the last rest of two seconds. The take itself "
      "is "
      "not looked at.");
  add_json(*command, session, {protocol::FindPlayed::kMethod});
  command->callback([options, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return find(daemon, *options); });
  });
}

}  // namespace undersong::terminal
