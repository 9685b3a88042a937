// undersong doctor: reports whether the daemon runs, what is connected and where files are. If something is
// wrong, it says what to do.
#include <fmt/format.h>

#include <unistd.h>

#include <charconv>
#include <chrono>
#include <cstdlib>
#include <iostream>
#include <memory>
#include <string>

#include "clients/terminal/commands.h"
#include "clients/terminal/format.h"
#include "clients/terminal/page_address.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using protocol::Problem;

constexpr auto kOutputPatience = std::chrono::seconds(10);  // longer than the daemon takes to open an output

void line(bool good, const std::string& what) {
  say("{}  {}\n", good ? "ok " : "-- ", what);
}

// "a key was heard 12 s ago".
std::string last_heard(const protocol::Port& port, protocol::TimeUs now) {
  if (!port.last_note) return "no key heard yet";
  const auto seconds = (now - *port.last_note) / 1'000'000;
  return seconds < 120    ? fmt::format("a key was heard {} s ago", seconds)
         : seconds < 7200 ? fmt::format("a key was heard {} minutes ago", seconds / 60)
                          : fmt::format("a key was heard {} hours ago", seconds / 3600);
}

std::string listed(const std::vector<std::string>& names) {
  std::string out;
  for (const auto& name : names) out += (out.empty() ? "\"" : ", \"") + name + "\"";
  return out;
}

void say_output(const protocol::OutputPort& output) {
  if (!output.connected)
    return line(
        false, fmt::format("Suggestions are played on: {} (not connected: {})", output.name, output.trouble));
  if (output.listeners != 0u) return line(true, fmt::format("Suggestions are played on: {}", output.name));
  line(false,
       fmt::format("Nothing is connected to \"{}\", so nobody hears suggestions there. The companion page "
                   "sounds them itself.",
                   output.name));
  if (output.offered && !output.offered->empty())
    line(false, fmt::format("They could be played on {}: `undersong doctor --connect NAME` does that.",
                            listed(*output.offered)));
}

// On a terminal, offers to play suggestions on an instrument if nobody hears them so far.
std::optional<std::string> chosen_output(const protocol::Status& status) {
  if (status.outputs.empty() || !isatty(STDIN_FILENO) || !isatty(STDOUT_FILENO)) return std::nullopt;
  const auto& output = status.outputs.front();
  if (!output.connected || output.listeners != 0u || !output.offered || output.offered->empty())
    return std::nullopt;
  say("\nPlay suggestions on one of these from now on? Its number, or Enter to leave it:\n");
  for (std::size_t i = 0; i < output.offered->size(); ++i) say("  {}  {}\n", i + 1, (*output.offered)[i]);
  std::string answer;
  if (!std::getline(std::cin, answer)) return std::nullopt;
  std::size_t number = 0;
  const auto [end, error] = std::from_chars(answer.data(), answer.data() + answer.size(), number);
  if (error != std::errc() || number == 0 || number > output.offered->size()) return std::nullopt;
  return (*output.offered)[number - 1];
}

// Plays suggestions on the output `name` from now on and waits until it is open.
std::optional<Problem> connect_output(protocol::Connection& daemon, const std::string& name) {
  protocol::SetSettings request;
  request.hear_output = name;
  if (const auto settings = daemon.request(request); !settings) return settings.error();
  if (const auto topics = daemon.request(protocol::Subscribe{{protocol::Topic::kStatus}, {}}); !topics)
    return topics.error();
  const auto end = std::chrono::steady_clock::now() + kOutputPatience;
  std::string trouble = "it does not answer";
  while (std::chrono::steady_clock::now() < end) {
    const auto note = daemon.next_notification(std::chrono::milliseconds(200));
    if (!note) return note.error();
    if (!*note) continue;
    const auto status = (*note)->as<protocol::Status>();
    if (!status || !*status || (*status)->outputs.empty()) continue;
    const auto& output = (*status)->outputs.front();
    if (output.connected) {
      say("Suggestions are played on: {}. `undersong settings reset hear_output` takes that back.\n",
          output.name);
      return std::nullopt;
    }
    trouble = output.trouble;
    if (trouble.starts_with("There is no")) break;
  }
  return Problem{trouble};
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
  session.print_answers_of(*daemon);
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
  bool any = false, keyboard = false;
  for (const auto& port : status->ports) {
    line(port.connected, fmt::format("Input {}: {}{}, {}", port.number, port.name,
                                     port.connected ? "" : " (disconnected)", last_heard(port, status->at)));
    any |= port.connected;
    keyboard |= port.connected && !port.own;
  }
  if (status->midi_trouble) {
    line(false, *status->midi_trouble);
  } else if (!any) {
    line(false, "No MIDI input. Plug in a keyboard, or connect a program to \"Undersong in\".");
  } else if (!keyboard) {
    line(false, "No keyboard. Plug one in; it is found by itself.");
  }
  for (const auto& output : status->outputs)
    if (output.connected || output.trouble != status->midi_trouble) say_output(output);
  if (const auto& playing = status->playing)
    line(true, fmt::format("{} is being played on it.", !playing->song ? fmt::format("Take {}", playing->take)
                                                        : playing->song->title.empty()
                                                            ? std::string("A song without a title")
                                                            : playing->song->title));
  line(status->store.good, status->store.good
                               ? fmt::format("Takes are being saved; the log has {} lines.", status->log_last)
                               : status->store.sentence);
  if (status->store.good && !status->store.sentence.empty())
    line(true, status->store.sentence);  // a problem that was solved
  if (!status->store.damage.empty())
    line(false, status->store.damage);
  else if (status->store.checked_utc_ms)
    line(true, fmt::format("All takes were checked on {}: nothing is damaged.",
                           local_time(*status->store.checked_utc_ms)));
  if (status->store.backed_up_utc_ms)
    line(true, fmt::format("The newest daily backup of the takes was made on {}.",
                           local_time(*status->store.backed_up_utc_ms)));
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
         places->page ? fmt::format("The companion page: {}", page_here(*places->page))
                      : "No companion page is served." +
                            (places->page_trouble ? " " + *places->page_trouble : std::string()));
    if (const auto pages = places->page ? pages_elsewhere(*places->page) : std::vector<std::string>();
        !pages.empty())
      line(true, fmt::format("On another machine, type {} and then the token of the configuration.",
                             fmt::join(pages, " or ")));
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
  if (!session.json.empty()) return status->store.good ? 0 : 1;  // nobody is asked anything
  if (const auto name = chosen_output(*status))
    if (const auto problem = connect_output(*daemon, *name)) line(false, problem->sentence);
  return status->store.good ? 0 : 1;
}

}  // namespace

void add_doctor(CLI::App& program, Session& session) {
  auto* doctor = program.add_subcommand(
      "doctor", "Check whether the daemon runs, what is connected and where files are");
  auto waits = std::make_shared<bool>(false);
  auto output = std::make_shared<std::string>();
  auto* listen =
      doctor->add_flag("--listen", *waits, "wait for a key, and say what came, from where and how late");
  doctor->add_option("--connect", *output, "play suggestions on the MIDI output of this name from now on")
      ->excludes(listen);
  add_json(*doctor, session,
           {protocol::GetStatus::kMethod, protocol::GetPlaces::kMethod, protocol::ListDevices::kMethod,
            protocol::SetSettings::kMethod});
  doctor->callback([waits, output, &session] {
    if (*waits) return session.with_daemon(wait_for_key);
    if (output->empty()) {
      session.exit_code = examine(session);
      return;
    }
    session.with_daemon([&](protocol::Connection& daemon) { return connect_output(daemon, *output); });
  });
}

}  // namespace undersong::terminal
