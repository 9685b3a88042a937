// digest: the moments most worth hearing again of the last evening or week.
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

struct DigestOptions {
  bool evening = false, week = false;
  int limit = 8, play = 0, keep = 0, dismiss = 0;
};

void print(int number, const protocol::DigestMoment& moment, protocol::SymbolStyle style) {
  const std::string length = moment.bars
                                 ? fmt::format("{} bar{}", *moment.bars, *moment.bars == 1 ? "" : "s")
                                 : fmt::format("{:.0f} s", static_cast<double>(moment.length_us) / 1e6);
  std::string name = moment.title;
  if (name.empty() && moment.content) name = content_name(*moment.content, style);
  say("{:3d}  take {:4d}  {}  {:>8}  {:>7}  {}{}{}\n", number, moment.take, local_time(moment.begin_utc_ms),
      duration(moment.from_us), length, moment.reason,
      moment.verdict == protocol::Verdict::kKept ? "  (kept)" : "", name.empty() ? "" : "  in " + name);
}

std::optional<Problem> judge(protocol::Connection& daemon, const protocol::Digest& digest, int number,
                             protocol::Verdict verdict) {
  if (number == 0) return std::nullopt;
  if (number > static_cast<int>(digest.moments.size()))
    return Problem{fmt::format("There is no moment {}: the list has {}.", number, digest.moments.size())};
  const auto& moment = digest.moments[static_cast<std::size_t>(number - 1)];
  protocol::JudgeMoment wish;
  wish.take = moment.take;
  wish.from_us = moment.from_us;
  wish.length_us = moment.length_us;
  wish.verdict = verdict;
  if (const auto kept = daemon.request(wish); !kept) return kept.error();
  say("Moment {} is {}.\n", number, verdict == protocol::Verdict::kKept ? "kept" : "dismissed");
  return std::nullopt;
}

std::optional<Problem> digest(protocol::Connection& daemon, const DigestOptions& options) {
  protocol::GetDigest wanted;
  wanted.span = options.week ? protocol::DigestSpan::kWeek : protocol::DigestSpan::kEvening;
  wanted.limit = options.limit;
  const auto found = daemon.request(wanted);
  if (!found) return found.error();
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  if (found->moments.empty())
    say("{}\n", found->takes == 0 ? "No takes yet: play something." : "Nothing stands out.");
  int number = 0;
  for (const auto& moment : found->moments) print(++number, moment, *style);
  if (found->unstudied > 0)
    say("{} take{} still to be looked through; ask again in a moment.\n", found->unstudied,
        found->unstudied == 1 ? " is" : "s are");
  if (auto problem = judge(daemon, *found, options.keep, protocol::Verdict::kKept)) return problem;
  if (auto problem = judge(daemon, *found, options.dismiss, protocol::Verdict::kDismissed)) return problem;
  return play_found(daemon, "moment", options.play, found->moments);
}

}  // namespace

void add_digest(CLI::App& program, Session& session) {
  auto options = std::make_shared<DigestOptions>();
  auto* command = program.add_subcommand(
      "digest", "List the moments most worth hearing again of the last evening or week, and why");
  auto* evening = command->add_flag("--evening", options->evening, "of the last evening; so without --week");
  command->add_flag("--week", options->week, "of the seven days up to it")->excludes(evening);
  add_json(*command, session, {protocol::GetDigest::kMethod});
  command->add_option("--limit", options->limit, "at most so many (default 8)")->check(CLI::Range(1, 100));
  const auto numbered = [&](const char* name, int& number, const char* says) {
    command->add_option(name, number, says)->check(CLI::Range(1, 100));
  };
  numbered("--play", options->play, "play this one on the MIDI output");
  numbered("--keep", options->keep, "keep this one");
  numbered("--dismiss", options->dismiss, "never propose this one again");
  command->footer(
      "What counts: what you marked, the loops you went round longest, the chords you came back to under a "
      "note, and chords held for long that you had not played under such a note before.");
  command->callback([options, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return digest(daemon, *options); });
  });
}

}  // namespace undersong::terminal
