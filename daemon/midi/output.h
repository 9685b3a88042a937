// A MIDI output: a named port of the system, or one of our own called "Undersong out" that others connect to.
//
// Remembers which notes it has switched on and switches them off before it closes. Remembers what it sent, so
// that the consumer of the inputs can ask of every event whether it is only an echo; to learn that, it sends
// two messages of key pressure, which sound on no instrument, before the first note of a phrase (see
// echo_guard.h). A port that isn't there yet, or that goes, is looked for each time the owner calls tend().
//
// Threads: one owner (its Sender); judge from one other thread, never for long. Bounds: a JACK output
// silently drops what exceeds about 2,700 messages in one burst; we send chords.
#pragma once

#include <array>
#include <memory>
#include <mutex>
#include <string>

#include "daemon/midi/backend.h"
#include "daemon/midi/echo_guard.h"
#include "daemon/midi/event.h"
#include "daemon/midi/sender.h"

class RtMidiOut;

namespace undersong::midi {

struct OutputOptions {
  BackendKind backend = BackendKind::kAuto;
  std::string name;  // like one of PortsOptions::names; empty: our own virtual port
  std::string client_name = "Undersong";
  std::string virtual_port = "Undersong out";
};

class Output final : public Sink {
 public:
  // Echoes are told by `guard`; without one it has its own.
  Output(OutputOptions options, Say say, std::shared_ptr<SharedEchoGuard> guard = {});
  ~Output() override;
  Output(const Output&) = delete;
  Output& operator=(const Output&) = delete;

  // Opens, or opens again, what isn't open; call at start and about once a second. Errors: why it is still
  // closed, in one sentence. The Say is given a sentence only when something changed.
  Result<void> tend() override;
  bool connected() const override;
  const std::string& port_name() const override { return port_name_; }  // empty while closed

  // Sends a channel message at once; false while closed. `at` should be steady_now(): echoes are told by it.
  bool send(const Event& message) override;
  bool note_on(std::uint8_t channel, Pitch pitch, Velocity velocity);
  bool note_off(std::uint8_t channel, Pitch pitch);
  void all_notes_off();  // note-offs for exactly the notes that we switched on

  EchoGuard::Verdict judge(const Event& received) { return guard_->judge(received); }

 private:
  void close();
  Result<void> open_port();
  void say(const std::string& sentence);

  const OutputOptions options_;
  const Say say_;
  std::string said_;
  std::unique_ptr<Backend> backend_;
  std::unique_ptr<RtMidiOut> out_;
  std::string port_name_, raw_name_;
  std::string own_port_;  // the end of the name of our side of the connection
  unsigned opened_ = 0;
  static constexpr Micros kFlush{90'000};
  Micros last_sent_{-1'000'000};
  bool open_ = false;
  bool failed_ = false;  // set by RtMidi's error callback, which runs on our own thread
  std::shared_ptr<SharedEchoGuard> guard_;
  std::array<std::array<bool, 128>, 16> on_{};
};

}  // namespace undersong::midi
