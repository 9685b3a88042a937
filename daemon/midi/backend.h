// Which of the system's MIDI services is used, and whether it is still alive.
//
// ALSA when its sequencer is there, else JACK (PipeWire's too); a fixed choice can be asked for. RtMidi is
// never left to choose by itself: it throws where ALSA is missing, and it never says that a JACK server died.
// Backend therefore keeps a small JACK client of its own that is told of the server's end and of every port
// that is registered.
//
// When the JACK server dies, its Backend and every RtMidi object made under it must be destroyed (objects
// first) before any part of the process gets a new one; open() refuses until then. Owners therefore ask
// alive() about once a second.
//
// Threads: one owner; `poke` is called from JACK's notification thread.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "daemon/base/result.h"

namespace undersong::midi {

enum class BackendKind : std::uint8_t { kAuto, kAlsa, kJack };
// "auto", "alsa" or "jack".
Result<BackendKind> parse_backend(std::string_view text);

// Says one sentence to whoever keeps the log; called from the source's own thread.
using Say = std::function<void(const std::string&)>;

class Backend {
 public:
  // Opens the service asked for; the error says in one sentence what is missing. `client_name` begins the
  // names of all our clients. `poke` may be empty.
  static Result<std::unique_ptr<Backend>> open(BackendKind wanted, const std::string& client_name,
                                               std::function<void()> poke);
  ~Backend();
  Backend(const Backend&) = delete;
  Backend& operator=(const Backend&) = delete;

  BackendKind kind() const { return kind_; }  // kAlsa or kJack
  bool alive() const;                         // false for ever once the server has gone
  // JACK: has any port come or gone since the last call? (A keyboard may have been replaced by one of the
  // same name.) Always false with ALSA.
  bool take_ports_changed();
  // JACK: is a port called `port` connected to one whose full name ends with `own`? RtMidi doesn't say
  // whether connecting succeeded. Always true with ALSA, where it does.
  bool is_connected(const std::string& port, std::string_view own) const;

 private:
  struct Jack;
  Backend();
  BackendKind kind_ = BackendKind::kAlsa;
  std::unique_ptr<Jack> jack_;
};

// Is `port` (client:port) one of our own? Our clients are called NAME, or NAME followed by a word, or NAME-NN
// where the service made the name unique.
bool is_own_port(std::string_view port, std::string_view client_name);
// ALSA puts client and port numbers behind the name, which change when a keyboard is plugged in again:
// "Keys:MIDI 1 20:0" is "Keys:MIDI 1".
std::string_view without_alsa_numbers(std::string_view port);

}  // namespace undersong::midi
