// moments: searches all takes for moments, asked for in a musician's words.
#include <fmt/format.h>

#include <memory>
#include <string>
#include <vector>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/play_found.h"
#include "clients/terminal/say.h"
#include "protocol/question_examples.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

struct MomentOptions {
  std::vector<std::string> question;
  int limit = 20, play = 0;
  std::string from;
};

std::string moment_line(const protocol::FoundMoment& moment, protocol::SymbolStyle style) {
  std::vector<std::string> chords;
  for (const auto& chord : moment.chords) chords.push_back(symbol(chord, style));
  std::string out = fmt::format("take {:4d}  {}  {:>8}  {:4.1f} s  {}", moment.take,
                                local_time(moment.begin_utc_ms), duration(moment.from_us),
                                static_cast<double>(moment.length_us) / 1e6, fmt::join(chords, " "));
  if (moment.name) out += fmt::format(" under {} ({})", *moment.name, moment.degree.value_or(""));
  if (moment.times > 1) out += fmt::format("  {} of {} times", nth(moment.time), moment.times);
  if (!moment.title.empty()) out += "  " + moment.title;
  return out;
}

std::optional<Problem> moments(protocol::Connection& daemon, const MomentOptions& options) {
  protocol::FindMoments wanted;
  wanted.limit = options.limit;
  for (const auto& word : options.question) wanted.question += (wanted.question.empty() ? "" : " ") + word;
  if (!options.from.empty()) wanted.from = options.from;
  const auto found = daemon.request(wanted);
  if (!found) return found.error();
  const auto style = symbol_style(daemon);
  if (!style) return style.error();
  say("{}:\n", found->understood);
  const int count = static_cast<int>(found->moments.size());
  for (int i = 0; i < count; ++i)
    say("{:3d}  {}\n", i + 1, moment_line(found->moments[static_cast<std::size_t>(i)], *style));
  if (count == 0) {
    const bool near = !found->near.empty() && found->near.front().moments > 0;
    say("No moment matches{}\n", near                  ? ". With one condition less:"
                                 : found->near.empty() ? "."
                                                       : ", even with any one condition left out.");
    for (const auto& each : found->near)
      if (each.moments > 0) say("{:6d}  {}\n", each.moments, each.words);
  }
  if (found->unheard > 0)
    say("{} older take{} not been analysed again yet, and not in this answer.\n", found->unheard,
        found->unheard == 1 ? " has" : "s have");
  if (found->next) say("There are more. Show them with --from {}.\n", *found->next);
  return play_found(daemon, "moment", options.play, found->moments);
}

}  // namespace

void add_moments(CLI::App& program, Session& session) {
  auto asked = std::make_shared<MomentOptions>();
  auto* command = program.add_subcommand(
      "moments", "Find moments in all takes, in a musician's words, for example: moments Db under G");
  command->add_option("QUESTION", asked->question, "what to look for; quote # and brackets for the shell")
      ->required();
  command->add_option("--limit", asked->limit, "number of moments shown")->check(CLI::Range(1, 200));
  command->add_option("--from", asked->from, "show the moments that follow; the last answer gives the value");
  command->add_option("--play", asked->play, "play this moment on the MIDI output; 1 is the first")
      ->check(CLI::Range(1, 200));
  std::string help = "Examples:\n";
  for (const auto& example : protocol::kQuestionExamples)
    help += fmt::format("  {:<44}  {}\n", example.question, example.says);
  command->footer(
      help +
      "A letter alone means any chord on that root. Lower-case \"a\" before a kind of chord is the "
      "article.\nb9 alone is a degree, B9 a chord.");
  add_json(*command, session, {protocol::FindMoments::kMethod});
  command->callback([asked, &session] {
    session.with_daemon([&](protocol::Connection& daemon) { return moments(daemon, *asked); });
  });
}

}  // namespace undersong::terminal
