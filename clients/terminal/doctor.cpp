// undersong doctor: what runs, what is connected, where things are; each line says what to do if it isn't
// well.
#include <fmt/format.h>

#include <cstdlib>
#include <string>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"

namespace undersong::terminal {
namespace {

void line(bool good, const std::string& what) {
  fmt::print("{}  {}\n", good ? "ok " : "-- ", what);
}

int examine(const Session& session) {
  const auto path = session.socket_path();
  auto daemon = protocol::Connection::open(path);
  if (!daemon) {
    line(false, fmt::format("No daemon answers at {}: {}", path.string(), daemon.error().sentence));
    line(
        false,
        "Start it with `undersongd`, or `systemctl --user start undersongd` where the service is installed.");
    return 1;
  }
  const auto& welcome = daemon->welcome();
  line(true, fmt::format("The daemon answers at {}: version {}, protocol {}.", path.string(), welcome.program,
                         welcome.protocol));
  if (welcome.protocol != static_cast<std::uint32_t>(protocol::kProtocolVersion))
    line(false, fmt::format("This client speaks protocol {}: install client and daemon of one version.",
                            protocol::kProtocolVersion));
  const auto status = daemon->request(protocol::GetStatus{});
  if (!status) {
    line(false, status.error().sentence);
    return 1;
  }
  bool any = false;
  for (const auto& port : status->ports) {
    line(port.connected,
         fmt::format("Input {}: {}{}", port.number, port.name, port.connected ? "" : " (gone)"));
    any |= port.connected;
  }
  if (!any) line(false, "No MIDI input: plug a keyboard in, or connect a program to \"Undersong in\".");
  for (const auto& output : status->outputs)
    line(output.connected,
         fmt::format("Suggestions are played on: {}{}", output.name,
                     output.connected ? "" : fmt::format(" (not there: {})", output.trouble)));
  if (status->playing) line(true, fmt::format("Take {} is being played there.", status->playing->take));
  line(status->store.good, status->store.good
                               ? fmt::format("Takes are kept; {} lines so far.", status->log_last)
                               : status->store.sentence);
  if (status->store.good && !status->store.sentence.empty())
    line(true, status->store.sentence);  // what was set right
  if (status->store.waiting)
    line(status->store.good, fmt::format("{} lines wait to be written.", status->store.waiting));
  if (status->store.lost)
    line(false, fmt::format("{} lines did not fit in memory and are lost.", status->store.lost));
  if (status->lost_events)
    line(false, fmt::format("{} MIDI messages were lost since the daemon started: they came faster than they "
                            "could be taken. The log of each take says where.",
                            status->lost_events));
  if (status->take) {
    line(true, fmt::format("A take is being played: {} notes since {}.", status->take->notes,
                           local_time(status->take->begin_utc_ms)));
  } else {
    line(true, "No take is being played.");
  }
  if (const auto places = daemon->request(protocol::GetPlaces{})) {
    line(true, fmt::format("Configuration: {}{}", places->configuration,
                           places->configured ? "" : " (not there: defaults hold)"));
    if (!status->settings.changed.empty()) {
      std::string names;
      for (const auto& [value, text] : protocol::enum_names<protocol::SettingName>())
        for (const auto changed : status->settings.changed)
          if (changed == value) names += (names.empty() ? "" : ", ") + std::string(text);
      line(true, fmt::format("Settings that were changed and count before the configuration: {}. `undersong "
                             "settings reset` ends that.",
                             names));
    }
    line(true, fmt::format("Takes: {}", places->takes));
    line(places->page.has_value(),
         places->page ? fmt::format("The companion page: {}", *places->page)
                      : "No companion page is served." +
                            (places->page_trouble ? " " + *places->page_trouble : std::string()));
  }
  return status->store.good ? 0 : 1;
}

}  // namespace

void add_doctor(CLI::App& program, Session& session) {
  program.add_subcommand("doctor", "Say what runs, what is connected, and where things are")
      ->callback([&session] { session.exit_code = examine(session); });
}

}  // namespace undersong::terminal
