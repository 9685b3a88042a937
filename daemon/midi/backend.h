// Backend: opens the system's MIDI service and notices when it dies.
//
//   auto backend = Backend::open(BackendKind::kAuto, "Undersong", poke);
//
// ALSA is used when its sequencer is there, otherwise JACK (or PipeWire's JACK, see pipewire.h). A fixed
// choice is possible. RtMidi is never left to choose: it throws where ALSA is missing, and it never reports
// that a JACK server died. Backend therefore keeps a small JACK client of its own, which is told when the
// server ends and when a port is registered.
//
// When the JACK server dies, its Backend and every RtMidi object made under it must be destroyed, the RtMidi
// objects first, before any part of the process opens a new Backend; open() refuses until then. Owners
// therefore call alive() regularly. Whoever makes an RtMidi object over JACK, which opens a client, takes a
// turn_to_open() first, keeps it until the object's port is open, and keeps the object in a JackOwned.
//
// Threads: one owner. `poke` is called on JACK's notification thread.
// Errors: open() returns one sentence that says what is missing and what to do about it.
// Source: RtMidi and the JACK client API.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/midi/jack_turn.h"

namespace undersong::midi {

enum class BackendKind : std::uint8_t { kAuto, kAlsa, kJack };
// "auto", "alsa" or "jack".
Result<BackendKind> parse_backend(std::string_view text);

// Passes one sentence to the log. PortsSource calls it on its watcher thread; Output calls it on the thread
// of the Sender that owns it.
using Say = std::function<void(const std::string&)>;

// Why nothing can be opened while the service does not answer, and what to do.
std::string no_answer();

class Backend {
 public:
  // Opens the service. `client_name` begins the names of all our clients. `poke` may be empty; it is called
  // on JACK's notification thread when the server ends or a port is registered, and it must return quickly.
  static Result<std::unique_ptr<Backend>> open(BackendKind wanted, const std::string& client_name,
                                               std::function<void()> poke);
  ~Backend();
  // For whoever opens a client of JACK. Refused while a Backend of a dead server is there.
  static Result<JackTurn> turn_to_open();
  // For whoever asks RtMidi about ports; none if the clients of this Backend were deleted.
  std::optional<JackTurn> turn_to_ask(std::chrono::milliseconds patience = JackTurn::kPatience) const;
  Backend(const Backend&) = delete;
  Backend& operator=(const Backend&) = delete;

  BackendKind kind() const { return kind_; }  // kAlsa or kJack
  bool alive() const;                         // stays false once the server has gone
  // JACK: true if any port came or went since the last call. (A keyboard may have been replaced by another of
  // the same name.) ALSA: always false.
  bool take_ports_changed();
  // JACK: the full names of all MIDI ports that send, ours as well. ALSA: none.
  std::vector<std::string> senders() const;
  // JACK: true if the port `port` is connected to a port whose full name ends with `own`. RtMidi does not
  // report whether a JACK connection succeeded. ALSA: always true, because there RtMidi does report it.
  bool is_connected(const std::string& port, std::string_view own) const;
  // How many ports are connected to the output `port` of our client `client`; nullopt if that is not known.
  std::optional<unsigned> listeners(const std::string& client, const std::string& port) const;

 private:
  struct Jack;
  struct Alsa;
  Backend();
  static void swept();
  static std::set<Jack*> living;  // every Backend on JACK; used in turns
  BackendKind kind_ = BackendKind::kAlsa;
  std::unique_ptr<Jack> jack_;
  std::unique_ptr<Alsa> alsa_;
};

// True if `port` (client:port) is one of our own. Our clients are called NAME, NAME followed by a space and a
// word, or NAME-NN where the service made the name unique.
bool is_own_port(std::string_view port, std::string_view client_name);
// Removes the client and port numbers that ALSA appends, because they change when a keyboard is plugged in
// again: "Keys:MIDI 1 20:0" becomes "Keys:MIDI 1".
std::string_view without_alsa_numbers(std::string_view port);

}  // namespace undersong::midi
