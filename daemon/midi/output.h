// Output: plays on a named MIDI port of the system, or on a virtual port "Undersong out" that other programs
// can connect to.
//
// It remembers which notes it has switched on and switches them off before it closes. It remembers what it
// sent, so that the consumer of the inputs can ask of every event whether it is only an echo. To learn where
// echoes come back, it sends two silent key-pressure messages before the first note of a phrase (see
// echo_guard.h). A port that is missing or has gone is looked for each time the owner calls tend().
//
// Units: Micros of steady_now(); channels 0..15.
// Threads: one owner, the thread of its Sender. judge may be called from one other thread; it holds a lock
// for well under a microsecond.
// Errors: tend() returns one sentence; send() returns false while closed. A JACK output silently drops what
// exceeds about 2,700 messages in one burst; Undersong sends single chords.
// Source: RtMidi; the bound was measured on JACK.
#pragma once

#include <array>
#include <memory>
#include <mutex>
#include <string>

#include "daemon/midi/backend.h"
#include "daemon/midi/echo_guard.h"
#include "daemon/midi/event.h"
#include "daemon/midi/sender.h"
#include "daemon/midi/service_watch.h"

class RtMidiOut;

namespace undersong::midi {

struct OutputOptions {
  BackendKind backend = BackendKind::kAuto;
  std::string name;  // as in PortsOptions::names; empty: our virtual port
  std::string client_name = "Undersong";
  std::string virtual_port = "Undersong out";
};

class Output final : public Sink {
 public:
  // `guard` recognises echoes; if it is empty, the output makes its own. `say` is called on the owner's
  // thread.
  Output(OutputOptions options, Say say, std::shared_ptr<SharedEchoGuard> guard = {});
  ~Output() override;
  Output(const Output&) = delete;
  Output& operator=(const Output&) = delete;

  // Opens the port if it is not open; call it at the start and regularly after that. Errors: one sentence
  // that says why the port is still closed. `say` receives a sentence only when something changed.
  Result<void> tend() override;
  bool connected() const override;
  const std::string& port_name() const override { return port_name_; }  // empty while closed
  std::optional<unsigned> listeners() override;
  std::vector<std::string> offered() override;
  void watch(std::function<void()> look) override;  // before the first tend()
  bool tells_when_it_can() const override { return no_service_ && files_; }

  // Sends a channel message at once; false while closed. `at` should be steady_now(), because echoes are
  // recognised by it.
  bool send(const Event& message) override;
  bool note_on(std::uint8_t channel, Pitch pitch, Velocity velocity);
  bool note_off(std::uint8_t channel, Pitch pitch);
  void all_notes_off();  // sends note-offs for exactly the notes that are on

  EchoGuard::Verdict judge(const Event& received) { return guard_->judge(received); }

 private:
  void close();
  // RtMidi 5 frees the buffer of a JACK output before it closes the client, and a period that JACK still runs
  // would read it. So the port is closed first, and released when that period is over.
  void release_port();
  Result<void> open_port();
  void say(const std::string& sentence);

  const OutputOptions options_;
  const Say say_;
  std::function<void()> look_;
  std::unique_ptr<ServiceWatch> files_;
  bool no_service_ = false;  // since the last try
  std::string said_;
  std::unique_ptr<Backend> backend_;
  JackOwned<RtMidiOut> out_;
  std::string port_name_, raw_name_;
  std::string own_port_;  // end of the name of our own port of this connection
  unsigned opened_ = 0;
  // How long a closing output waits for the back end to deliver its last messages.
  static constexpr Micros kFlush{90'000};
  Micros last_sent_{-1'000'000};
  // While somebody opens a client, what was last seen is told instead of waiting: a message may be due.
  static constexpr std::chrono::milliseconds kNow{0};
  std::optional<unsigned> listeners_;
  std::vector<std::string> offered_;
  bool open_ = false;
  bool failed_ = false;  // set by RtMidi's error callback, on the owner's thread
  // Used by the owner and by the thread that calls judge; it locks by itself.
  std::shared_ptr<SharedEchoGuard> guard_;
  std::array<std::array<bool, 128>, 16> on_{};
};

}  // namespace undersong::midi
