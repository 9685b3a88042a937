// Opens every wanted MIDI input port of the system while it is there, and one virtual port that other
// programs can connect to.
//
// A watcher thread looks at the list of ports when a port comes or goes, and every `look_every`; for a
// missing service when one may have come, and less and less often, down to every 24th `look_every`. It opens
// wanted ports that are new and closes those that have gone. The consumer receives kPortCame and kPortGone
// and is not woken when nothing changed. Our own ports are never opened, and "Midi Through" only if it is
// named, because it is no keyboard but a cable between programs. When the MIDI service dies, all inputs
// close; the watcher looks for the service in the same way and opens everything again.
//
// System-exclusive data, active sensing, other system messages and malformed messages are dropped before they
// reach a queue. MIDI clock, start, continue, stop and song position pass when `pass_clock` is set.
//
// Units: Micros of steady_now() for events; milliseconds for `look_every`.
// Threads: one owner constructs, starts and stops. `say` is called on the watcher thread. Messages come on a
// thread of the MIDI service; see ears.h. Errors: start() fails only for a malformed port name. Everything
// later is told through `say` in one sentence; Inputs::trouble() says why no service can be opened. Source:
// MIDI 1.0 Detailed Specification (MMA, 1996) for message lengths.
#pragma once

#include <memory>
#include <regex>
#include <string>
#include <vector>

#include "daemon/midi/backend.h"
#include "daemon/midi/inputs.h"
#include "daemon/midi/source.h"

namespace undersong::midi {

struct PortsOptions {
  BackendKind backend = BackendKind::kAuto;
  // Empty: every input port but "Midi Through". Otherwise the ports whose name contains one of these,
  // ignoring case. A text between slashes, such as "/^Keys .* 2$/", is an ECMAScript regular expression; it
  // may match anywhere in the name, ignoring case.
  std::vector<std::string> names;
  bool pass_clock = false;
  std::string client_name = "Undersong";
  std::string virtual_port = "Undersong in";  // empty: none
  std::chrono::milliseconds look_every{1000};
};

// Says which port names are wanted. Errors: a malformed regular expression; the sentence names it.
class PortNames {
 public:
  static Result<PortNames> parse(const std::vector<std::string>& names);
  bool match(const std::string& port) const;

 private:
  std::vector<std::string> parts_;  // lower case
  std::vector<std::regex> expressions_;
  bool all_ = true;
};

// True for ALSA's "Midi Through", also under the names that other services give it.
bool is_through(const std::string& port);

class PortsSource : public Source {
 public:
  PortsSource(PortsOptions options, Inputs& inputs, Say say);
  ~PortsSource() override;
  Result<void> start() override;  // waits for a missing service, so only a bad name fails
  void stop() override;

 private:
  class Watcher;
  std::unique_ptr<Watcher> watcher_;
};

}  // namespace undersong::midi
