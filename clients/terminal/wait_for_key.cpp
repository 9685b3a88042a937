// undersong doctor --listen: waits for a key and says what came, from where, and how late it was here.
#include <fmt/format.h>

#include <chrono>
#include <map>
#include <string>

#include "clients/terminal/commands.h"
#include "clients/terminal/say.h"

namespace undersong::terminal {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;  // the daemon's clock, as long as both run on one machine
using protocol::Problem;
using protocol::TimeUs;

constexpr auto kKeyPatience = 30s;

TimeUs now_us() {
  return std::chrono::duration_cast<std::chrono::microseconds>(Clock::now().time_since_epoch()).count();
}

bool strikes(const protocol::LoggedMidi& midi) {
  return midi.bytes.size() == 3 && (midi.bytes[0].value & 0xF0) == 0x90 && midi.bytes[2].value > 0;
}

std::string port_name(protocol::Connection& daemon, std::int64_t number) {
  if (const auto status = daemon.request(protocol::GetStatus{}))
    for (const auto& port : status->ports)
      if (port.number == static_cast<std::uint64_t>(number)) return "\"" + port.name + "\"";
  return "a program that speaks to the daemon";
}

std::string note_name(protocol::Connection& daemon, std::int64_t pitch) {
  protocol::SpellPitches request;
  request.harte = "C:maj";  // no chord is known yet
  request.pitches.emplace_back(pitch);
  const auto spelled = daemon.request(request);
  return spelled && !spelled->names.empty() ? spelled->names[0] : std::to_string(pitch);
}

}  // namespace

std::optional<Problem> wait_for_key(protocol::Connection& daemon) {
  using protocol::Topic;
  if (const auto topics = daemon.request(protocol::Subscribe{{Topic::kMoment, Topic::kLog}, {}}); !topics)
    return topics.error();
  say("Press a key.\n");
  std::fflush(stdout);
  std::map<TimeUs, TimeUs> shown;  // when a key was struck, and when we could have shown it
  const auto end = Clock::now() + kKeyPatience;
  while (Clock::now() < end) {
    const auto note = daemon.next_notification(200ms);
    if (!note) return note.error();
    if (!*note) continue;
    if (const auto moment = (*note)->as<protocol::Moment>(); moment && *moment)
      for (const auto& held : (*moment)->held) shown.try_emplace(held.since, now_us());
    const auto log = (*note)->as<protocol::Log>();
    if (!log || !*log) continue;
    const auto& line = **log;
    if (line.echo && strikes(*line.echo)) {
      say("{} sends back what Undersong plays; that does not count as playing.\n",
          port_name(daemon, line.echo->port));
      continue;
    }
    if (!line.midi || !strikes(*line.midi)) continue;
    const auto& bytes = line.midi->bytes;
    say("{} (MIDI {}) came from {}, channel {}, velocity {}", note_name(daemon, bytes[1]), bytes[1].value,
        port_name(daemon, line.midi->port), (bytes[0].value & 0x0F) + 1, bytes[2].value);
    if (const auto found = shown.find(line.at); found != shown.end()) {
      say("; it was here {:.1f} ms after it came to the daemon.\n",
          static_cast<double>(found->second - found->first) / 1000);
    } else {
      say(". It is a drum or an order by pad or key, so it is no harmony.\n");
    }
    return std::nullopt;
  }
  return Problem{
      fmt::format("No key came in {} s. Is the keyboard switched on, and does `undersong doctor` list it? "
                  "Some keyboards send "
                  "nothing while they are set to \"local\", or send on another of their ports.",
                  std::chrono::duration_cast<std::chrono::seconds>(kKeyPatience).count())};
}

}  // namespace undersong::terminal
