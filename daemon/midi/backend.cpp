#include "daemon/midi/backend.h"

#include <jack/jack.h>
#include <spdlog/fmt/fmt.h>
#include <unistd.h>

#include <atomic>

#include "daemon/base/account.h"
#include "daemon/midi/alsa_seq.h"
#include "daemon/midi/pipewire.h"

namespace undersong::midi {

struct Backend::Alsa {
  SequencerHandle handle;
};

struct Backend::Jack {
  jack_client_t* client = nullptr;
  std::uint32_t sweeps = 0;                // when it was opened; see jack_turn.h
  std::uint32_t server = 0;                // the server it belongs to; see servers_gone
  std::atomic<bool> ports_changed{false};  // set by JACK's notification thread, cleared by the owner
  // Called on JACK's notification thread.
  std::function<void()> poke;
};

namespace {

// One death makes every Backend dead, and no client is opened while a dead Backend exists. libjack tells each
// client on a thread of its own, which may be late; if it was, the clients were swept (jack_turn.h).
std::atomic<std::uint32_t> servers_gone{
    0};  // written by JACK's notification threads and in turns, read by owners

constexpr const char* kSequencer = "/dev/snd/seq";

bool alsa_is_there() {
  return ::access(kSequencer, R_OK | W_OK) == 0;
}

// Says why we may not use the sequencer although it is there; nothing if we may, or if it is not there.
std::optional<std::string> no_right_to_alsa() {
  if (::access(kSequencer, R_OK | W_OK) == 0 || ::access(kSequencer, F_OK) != 0) return std::nullopt;
  return no_right_to(kSequencer, "ALSA's sequencer");
}

}  // namespace

Result<BackendKind> parse_backend(std::string_view text) {
  if (text == "auto") return BackendKind::kAuto;
  if (text == "alsa") return BackendKind::kAlsa;
  if (text == "jack") return BackendKind::kJack;
  return invalid_input(fmt::format("The MIDI service \"{}\" is not known; it is auto, alsa or jack.", text));
}

std::string no_answer() {
  return "The MIDI service does not answer. A program that ended while it was connecting to it can leave it "
         "so: restart JACK (with PipeWire: `systemctl --user restart pipewire`).";
}

std::set<Backend::Jack*> Backend::living;

Backend::Backend() = default;

Backend::~Backend() {
  if (!jack_) return;
  const auto turn = JackTurn::take();
  if (jack_->sweeps == JackTurn::sweeps()) jack_client_close(jack_->client);
  living.erase(jack_.get());
}

// Called in the turn of whoever opens a client. JACK tells the owners nothing any more.
void Backend::swept() {
  for (Jack* each : living) {
    std::uint32_t server = each->server;
    servers_gone.compare_exchange_strong(server, server + 1);
    if (each->poke) each->poke();
  }
}

Result<JackTurn> Backend::turn_to_open() {
  auto turn = JackTurn::take();
  if (!turn) return unavailable(no_answer());
  JackTurn::watch_sweeps(&Backend::swept);
  for (const Jack* each : living)
    if (each->server != servers_gone.load())
      return unavailable("The JACK server has gone, and some of its clients in this process are still open.");
  return std::move(*turn);
}

std::optional<JackTurn> Backend::turn_to_ask(std::chrono::milliseconds patience) const {
  auto turn = JackTurn::take(patience);
  if (!turn || (jack_ && jack_->sweeps != JackTurn::sweeps())) return std::nullopt;
  return turn;
}

Result<std::unique_ptr<Backend>> Backend::open(BackendKind wanted, const std::string& client_name,
                                               std::function<void()> poke) {
  std::unique_ptr<Backend> backend(new Backend);
  if (wanted != BackendKind::kJack && alsa_is_there()) {
    backend->kind_ = BackendKind::kAlsa;
    backend->alsa_ = std::make_unique<Alsa>();
    backend->alsa_->handle = open_sequencer(client_name + " watch");
    if (backend->alsa_->handle) return backend;
    return unavailable("ALSA's sequencer can't be opened.");
  }
  const auto no_right = wanted == BackendKind::kJack ? std::nullopt : no_right_to_alsa();
  if (wanted == BackendKind::kAlsa)
    return unavailable(
        no_right.value_or("ALSA's sequencer /dev/snd/seq is not there: `sudo modprobe snd-seq` loads it."));
  auto jack = std::make_unique<Jack>();
  jack->poke = std::move(poke);
  const auto turn = turn_to_open();
  if (!turn) return turn.error();
  jack->client = jack_client_open((client_name + " watch").c_str(), JackNoStartServer, nullptr);
  if (!jack->client) {
    if (no_right) return unavailable(*no_right);
    const std::string missing = wanted == BackendKind::kJack
                                    ? "No JACK server answers."
                                    : "Neither ALSA's sequencer nor a JACK server is there.";
    return unavailable(missing + what_pipewire_lacks());
  }
  jack->server = servers_gone.load();
  jack->sweeps = JackTurn::sweeps();
  jack_on_shutdown(
      jack->client,
      [](void* self) {
        auto& state = *static_cast<Jack*>(self);
        // All clients of one server are told, one after another. Only the first one advances the counter.
        std::uint32_t expected = state.server;
        servers_gone.compare_exchange_strong(expected, state.server + 1);
        if (state.poke) state.poke();
      },
      jack.get());
  jack_set_port_registration_callback(
      jack->client,
      [](jack_port_id_t, int, void* self) {
        auto& state = *static_cast<Jack*>(self);
        state.ports_changed = true;
        if (state.poke) state.poke();
      },
      jack.get());
  // Somebody may connect a keyboard by hand that we listen to already.
  jack_set_port_connect_callback(
      jack->client,
      [](jack_port_id_t, jack_port_id_t, int, void* self) {
        const auto& state = *static_cast<Jack*>(self);
        if (state.poke) state.poke();
      },
      jack.get());
  if (jack_activate(jack->client) != 0) {
    jack_client_close(jack->client);
    return unavailable("The JACK server does not accept our client.");
  }
  living.insert(jack.get());
  backend->kind_ = BackendKind::kJack;
  backend->jack_ = std::move(jack);
  return backend;
}

bool Backend::alive() const {
  return !jack_ || jack_->server == servers_gone.load();
}

bool Backend::take_ports_changed() {
  return jack_ && jack_->ports_changed.exchange(false);
}

std::vector<std::string> Backend::senders() const {
  std::vector<std::string> out;
  const auto turn = turn_to_ask();
  if (!jack_ || !turn) return out;
  const char** ports = jack_get_ports(jack_->client, nullptr, JACK_DEFAULT_MIDI_TYPE, JackPortIsOutput);
  for (const char** each = ports; each && *each; ++each) out.emplace_back(*each);
  jack_free(ports);
  return out;
}

bool Backend::is_connected(const std::string& port, std::string_view own) const {
  if (!jack_) return true;
  const auto turn = turn_to_ask();
  if (!turn) return false;
  const jack_port_t* found = jack_port_by_name(jack_->client, port.c_str());
  const char** others = found ? jack_port_get_all_connections(jack_->client, found) : nullptr;
  if (!others) return false;
  bool connected = false;
  for (const char** other = others; *other && !connected; ++other)
    connected = std::string_view(*other).ends_with(own);
  jack_free(others);
  return connected;
}

std::optional<unsigned> Backend::listeners(const std::string& client, const std::string& port) const {
  if (alsa_) return listeners_of(alsa_->handle.get(), client, port);
  if (!jack_ || !alive()) return std::nullopt;
  const auto turn = turn_to_ask();
  if (!turn) return std::nullopt;
  std::optional<unsigned> found;
  const char** ours = jack_get_ports(jack_->client, nullptr, JACK_DEFAULT_MIDI_TYPE, JackPortIsOutput);
  for (const char** each = ours; each && *each; ++each) {
    if (!std::string_view(*each).starts_with(client) || !std::string_view(*each).ends_with(":" + port))
      continue;
    const char** others =
        jack_port_get_all_connections(jack_->client, jack_port_by_name(jack_->client, *each));
    unsigned count = 0;
    while (others && others[count]) ++count;
    jack_free(others);
    found = found.value_or(0) + count;
  }
  jack_free(ours);
  return found;
}

bool is_own_port(std::string_view port, std::string_view client_name) {
  if (!port.starts_with(client_name)) return false;
  const std::string_view rest = port.substr(client_name.size());
  return rest.empty() || rest[0] == ':' || rest[0] == ' ' || rest[0] == '-';
}

std::string_view without_alsa_numbers(std::string_view port) {
  const auto digits = [](std::string_view s) {
    return !s.empty() && s.find_first_not_of("0123456789") == std::string_view::npos;
  };
  const std::size_t space = port.rfind(' ');
  if (space == std::string_view::npos || space == 0) return port;
  const std::string_view tail = port.substr(space + 1);
  const std::size_t colon = tail.find(':');
  if (colon == std::string_view::npos || !digits(tail.substr(0, colon)) || !digits(tail.substr(colon + 1)))
    return port;
  return port.substr(0, space);
}

}  // namespace undersong::midi
