// undersong doctor: reports whether the daemon runs, what is connected and where files are. If something is
// wrong, it says what to do.
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
    line(false,
         "Start it: `undersongd`, or `systemctl --user start undersongd` if the service is installed.");
    return 1;
  }
  const auto& welcome = daemon->welcome();
  line(true, fmt::format("The daemon answers at {}: version {}, protocol {}.", path.string(), welcome.program,
                         welcome.protocol));
  if (welcome.protocol != static_cast<std::uint32_t>(protocol::kProtocolVersion))
    line(false, fmt::format("This client speaks protocol {}. Install the same version of client and daemon.",
                            protocol::kProtocolVersion));
  const auto status = daemon->request(protocol::GetStatus{});
  if (!status) {
    line(false, status.error().sentence);
    return 1;
  }
  bool any = false;
  for (const auto& port : status->ports) {
    line(port.connected,
         fmt::format("Input {}: {}{}", port.number, port.name, port.connected ? "" : " (disconnected)"));
    any |= port.connected;
  }
  if (!any) line(false, "No MIDI input. Plug in a keyboard, or connect a program to \"Undersong in\".");
  for (const auto& output : status->outputs)
    line(output.connected,
         fmt::format("Suggestions are played on: {}{}", output.name,
                     output.connected ? "" : fmt::format(" (not connected: {})", output.trouble)));
  if (status->playing) line(true, fmt::format("Take {} is being played on it.", status->playing->take));
  line(status->store.good, status->store.good
                               ? fmt::format("Takes are being saved; the log has {} lines.", status->log_last)
                               : status->store.sentence);
  if (status->store.good && !status->store.sentence.empty())
    line(true, status->store.sentence);  // a problem that was solved
  if (status->store.waiting)
    line(status->store.good, fmt::format("{} lines wait to be written to disk.", status->store.waiting));
  if (status->store.lost)
    line(false, fmt::format("{} lines did not fit in memory and are lost.", status->store.lost));
  if (status->lost_events)
    line(false, fmt::format("{} MIDI messages were lost since the daemon started, because they came faster "
                            "than they could be read. The log of each take says where.",
                            status->lost_events));
  if (status->take) {
    line(true, fmt::format("A take is being recorded: {} notes since {}.", status->take->notes,
                           local_time(status->take->begin_utc_ms)));
  } else {
    line(true, "No take is being recorded.");
  }
  if (const auto places = daemon->request(protocol::GetPlaces{})) {
    line(true, fmt::format("Configuration: {}{}", places->configuration,
                           places->configured ? "" : " (missing, so the defaults apply)"));
    if (!status->settings.changed.empty()) {
      std::string names;
      for (const auto& [value, text] : protocol::enum_names<protocol::SettingName>())
        for (const auto changed : status->settings.changed)
          if (changed == value) names += (names.empty() ? "" : ", ") + std::string(text);
      line(true, fmt::format("These settings were changed and override the configuration: {}. `undersong "
                             "settings reset` undoes the changes.",
                             names));
    }
    line(true, fmt::format("Takes: {}", places->takes));
    line(places->page.has_value(),
         places->page ? fmt::format("The companion page: {}", *places->page)
                      : "No companion page is served." +
                            (places->page_trouble ? " " + *places->page_trouble : std::string()));
  }
  if (const auto devices = daemon->request(protocol::ListDevices{})) {
    const std::size_t count = devices->devices.size();
    line(!devices->trouble,
         fmt::format("{} paired; {}", count == 1 ? "1 device is" : fmt::format("{} devices are", count),
                     devices->trouble ? *devices->trouble
                     : devices->addresses.empty()
                         ? "only this machine can connect."
                         : fmt::format("they connect at {}.", fmt::join(devices->addresses, " or "))));
  }
  return status->store.good ? 0 : 1;
}

}  // namespace

void add_doctor(CLI::App& program, Session& session) {
  program.add_subcommand("doctor", "Check whether the daemon runs, what is connected and where files are")
      ->callback([&session] { session.exit_code = examine(session); });
}

}  // namespace undersong::terminal
