// mark, end, hear, play, stop, hold, wish: orders to the daemon.
#include <fmt/format.h>

#include <memory>
#include <string>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

// Sends `request` and prints what `say` makes of the reply.
template <class Request, class Say>
void order(Session& session, const Request& request, Say say) {
  session.with_daemon([&](protocol::Connection& daemon) -> std::optional<Problem> {
    const auto reply = daemon.request(request);
    if (!reply) return reply.error();
    fmt::print("{}\n", say(*reply));
    return std::nullopt;
  });
}

}  // namespace

void add_orders(CLI::App& program, Session& session) {
  auto text = std::make_shared<std::string>();
  auto* mark = program.add_subcommand("mark", "Mark this moment of the take being played");
  mark->add_option("TEXT", *text, "what to remember");
  mark->callback([text, &session] {
    protocol::MarkTake request;
    if (!text->empty()) request.text = *text;
    order(session, request, [](const auto& kept) { return fmt::format("Marked, line {}.", kept.number); });
  });

  program.add_subcommand("end", "End the take being played")->callback([&session] {
    order(session, protocol::EndTake{}, [](const auto&) { return "The take has ended; the next note begins another."; });
  });

  auto place = std::make_shared<int>(0);
  auto chord = std::make_shared<std::string>();
  auto stop = std::make_shared<bool>(false);
  auto* hear = program.add_subcommand("hear", "Play an alternative on the MIDI output, quietly (mind the instrument's volume)");
  auto* place_option = hear->add_option("PLACE", *place, "its place in the list, from 1; the next one if left out")->check(CLI::Range(1, 256));
  auto* chord_option = hear->add_option("--chord", *chord, "a chord in Harte syntax instead: Bb:9")->excludes(place_option);
  hear->add_flag("--stop", *stop, "end what sounds")->excludes(place_option)->excludes(chord_option);
  hear->callback([place, chord, stop, &session] {
    protocol::Hear request;
    if (*place > 0) request.place = *place - 1;
    if (!chord->empty()) request.harte = *chord;
    if (*stop) request.stop = true;
    order(session, request, [](const auto& heard) { return heard.harte ? "Playing " + *heard.harte + "." : std::string("Silent."); });
  });

  auto number = std::make_shared<std::uint64_t>(0);
  auto from = std::make_shared<std::string>(), to = std::make_shared<std::string>();
  auto velocity = std::make_shared<int>(0);
  auto* play = program.add_subcommand("play", "Play a take on the MIDI output, quietly (mind the instrument's volume)");
  play->add_option("TAKE", *number, "number of the take; the newest if left out");
  play->add_option("--from", *from, "where to begin in it: seconds, or 1:23.4");
  play->add_option("--to", *to, "where to end");
  play->add_option("--velocity", *velocity, "mean loudness it is brought down to, instead of that of the settings")->check(CLI::Range(1, 127));
  play->callback([=, &session] {
    protocol::PlayTake request;
    if (*number != 0) request.take = *number;
    if (*velocity > 0) request.velocity = *velocity;
    for (const auto& [written, time] : {std::pair{from, &request.from_us}, std::pair{to, &request.to_us}}) {
      if (written->empty()) continue;
      *time = time_in_take(*written);
      if (*time) continue;
      fmt::print(stderr, "undersong: \"{}\" is no time; write seconds (83.4) or minutes and seconds (1:23.4).\n", *written);
      session.exit_code = 2;
      return;
    }
    order(session, request, [](const auto& playing) {
      return fmt::format("Playing take {} from {} to {}; `undersong stop` ends it.", playing.take, duration(playing.from_us), duration(playing.to_us));
    });
  });

  program.add_subcommand("stop", "End what is played on the MIDI output")->callback([&session] {
    order(session, protocol::StopPlaying{}, [](const auto& stopped) { return stopped.was ? "Stopped." : "Nothing was being played."; });
  });

  auto on = std::make_shared<std::string>();
  auto* hold = program.add_subcommand("hold", "Hold the list of alternatives still, or let it follow again");
  hold->add_option("STATE", *on, "on or off")->required()->check(CLI::IsMember({"on", "off"}));
  hold->callback([on, &session] {
    order(session, protocol::Hold{.on = *on == "on"},
          [](const auto& holding) { return holding.still ? "The list holds still." : "The list follows the playing."; });
  });

  auto wish = std::make_shared<protocol::SetSettings>();
  auto brighter = std::make_shared<double>(), tenser = std::make_shared<double>(), surprising = std::make_shared<double>();
  auto* wishes = program.add_subcommand("wish", "Ask for darker or brighter, more resolved or more tense, familiar or surprising");
  auto* b = wishes->add_option("--brighter", *brighter, "-1 darker .. 1 brighter")->check(CLI::Range(-1.0, 1.0));
  auto* t = wishes->add_option("--tenser", *tenser, "-1 more resolved .. 1 more tense")->check(CLI::Range(-1.0, 1.0));
  auto* s = wishes->add_option("--surprising", *surprising, "-1 familiar .. 1 surprising")->check(CLI::Range(-1.0, 1.0));
  wishes->callback([=, &session] {
    protocol::SetSettings request;
    if (*b) request.brighter = *brighter;
    if (*t) request.tenser = *tenser;
    if (*s) request.surprising = *surprising;
    order(session, request, [](const auto& settings) {
      return fmt::format("Wishes: brighter {:+.2f}, tenser {:+.2f}, surprising {:+.2f}.", settings.wishes.brighter.value,
                         settings.wishes.tenser.value, settings.wishes.surprising.value);
    });
  });
}

}  // namespace undersong::terminal
