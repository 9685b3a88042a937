// Every MIDI input port of the system, as it comes and goes, and one of our own that others can connect to.
//
// A watcher thread looks at the list of ports about once a second (with JACK also at once, when a port is
// registered), opens what is wanted and new, and closes what went. The consumer is told by kPortCame and
// kPortGone, and is never woken when nothing changed. Our own ports are never opened. When the service dies,
// all inputs go; it is looked for again every second, and everything is made anew.
//
// System-exclusive data, active sensing and other system messages are dropped in the callback, before any
// queue; MIDI clock, start, continue, stop and song position pass when `pass_clock` is set. Malformed
// messages are dropped.
//
// Threads: owner constructs, starts, stops; `say` is called from the watcher thread. The RtMidi callback is
// RT safe on our side: no lock, heap, log or wait.
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
  // Empty: every input port. Otherwise those whose name contains one of these, whatever the case; between
  // slashes, "/^Keys .* 2$/", an ECMAScript regular expression, searched for whatever the case.
  std::vector<std::string> names;
  bool pass_clock = false;
  std::string client_name = "Undersong";
  std::string virtual_port = "Undersong in";  // empty: none
  std::chrono::milliseconds look_every{1000};
};

// Which port names are wanted. Errors: a regular expression that is none, named.
class PortNames {
 public:
  static Result<PortNames> parse(const std::vector<std::string>& names);
  bool match(const std::string& port) const;

 private:
  std::vector<std::string> parts_;  // lower case
  std::vector<std::regex> expressions_;
  bool all_ = true;
};

// Is this message for the queue? RT safe.
bool is_wanted_message(const std::uint8_t* bytes, std::size_t size, bool pass_clock) noexcept;

class RtMidiSource : public Source {
 public:
  RtMidiSource(PortsOptions options, Inputs& inputs, Say say);
  ~RtMidiSource() override;
  Result<void> start() override;  // fails only for a malformed pattern; a missing service is waited for
  void stop() override;

 private:
  class Watcher;
  std::unique_ptr<Watcher> watcher_;
};

}  // namespace undersong::midi
