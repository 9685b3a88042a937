// The command `own`: the player's own harmony, shown, switched on or off, and erased.
#include <fmt/format.h>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

void print_habits(const char* title, const std::vector<protocol::Habit>& habits,
                  protocol::SymbolStyle style) {
  if (habits.empty()) return;
  say("\n{}\n", title);
  for (const auto& habit : habits) {
    const std::string chord = symbol(habit.chord, style);
    say("  {} {:3.0f} %\n",
        padded(habit.after ? fmt::format("{} to {}", symbol(*habit.after, style), chord) : chord, 18),
        habit.share.value * 100);
  }
}

std::optional<Problem> show_own(protocol::Connection& daemon) {
  const auto own = daemon.request(protocol::GetIdiom{});
  if (!own) return own.error();
  const auto settings = daemon.request(protocol::GetSettings{});
  if (!settings) return settings.error();
  if (own->takes == 0)
    say("Nothing is known of your own harmony yet{}.\n",
        own->erased_utc_ms ? ": it was erased on " + local_time(*own->erased_utc_ms) : std::string());
  else
    say("From {} {} since {}, as if every key were C major or A minor.\n", own->takes,
        own->takes == 1 ? "take" : "takes", local_time(*own->since_utc_ms));
  say("{}\n", settings->own ? "It shapes the list (`undersong own off` ends that)."
                            : "It does not shape the list (`undersong own on` begins that).");
  print_habits("Chords you go to", own->chords, settings->symbol_style);
  print_habits("Steps you go", own->steps, settings->symbol_style);
  return std::nullopt;
}

std::optional<Problem> turn(protocol::Connection& daemon, bool on) {
  protocol::SetSettings request;
  request.own = on;
  const auto settings = daemon.request(request);
  if (!settings) return settings.error();
  say("{}\n", settings->own ? "Your own harmony shapes the list."
                            : "The list no longer depends on your earlier takes.");
  return std::nullopt;
}

}  // namespace

void add_own(CLI::App& program, Session& session) {
  auto* own = program.add_subcommand(
      "own", "Show what Undersong has learnt of your own harmony; switch it on or off, or erase it");
  own->require_subcommand(0, 1);
  for (const bool on : {true, false}) {
    auto* command =
        own->add_subcommand(on ? "on" : "off", on ? "Let it shape the list" : "Don't let it shape the list");
    add_json(*command, session, {protocol::SetSettings::kMethod});
    command->callback([on, &session] {
      session.with_daemon([on](protocol::Connection& daemon) { return turn(daemon, on); });
    });
  }
  auto* erase = own->add_subcommand("erase", "Forget it up to now; your takes stay. It can't be undone");
  auto yes = std::make_shared<bool>(false);
  erase->add_flag("--yes", *yes, "really erase it");
  add_json(*erase, session, {protocol::EraseIdiom::kMethod});
  erase->callback([yes, &session] {
    session.with_daemon([yes](protocol::Connection& daemon) -> std::optional<Problem> {
      if (!*yes)
        return Problem{"This can't be undone. Run `undersong own erase --yes` to erase it; your takes stay."};
      const auto left = daemon.request(protocol::EraseIdiom{});
      if (!left) return left.error();
      say("Your own harmony is forgotten. Your takes are still there.\n");
      return std::nullopt;
    });
  });
  add_json(*own, session, {protocol::GetIdiom::kMethod});
  own->callback([own, &session] {
    if (own->get_subcommands().empty()) session.with_daemon(show_own);
  });
}

}  // namespace undersong::terminal
