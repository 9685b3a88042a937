#include "daemon/midi/alsa_seq.h"

#include <spdlog/fmt/fmt.h>
#include <unistd.h>

#include <charconv>

namespace undersong::midi {
namespace {

// Calls `use` for every port of every client until it returns true.
template <class Use>
void each_port(snd_seq_t* handle, Use&& use) {
  snd_seq_client_info_t* client = nullptr;
  snd_seq_port_info_t* port = nullptr;
  snd_seq_client_info_alloca(&client);
  snd_seq_port_info_alloca(&port);
  snd_seq_client_info_set_client(client, -1);
  while (snd_seq_query_next_client(handle, client) >= 0) {
    const int number = snd_seq_client_info_get_client(client);
    if (number == SND_SEQ_CLIENT_SYSTEM) continue;
    snd_seq_port_info_set_client(port, number);
    snd_seq_port_info_set_port(port, -1);
    while (snd_seq_query_next_port(handle, port) >= 0)
      if (use(*client, *port)) return;
  }
}

// The kernel names the thread that opened a client, not its process.
bool is_ours(int thread) {
  return ::access(fmt::format("/proc/self/task/{}", thread).c_str(), F_OK) == 0;
}

std::optional<unsigned char> number_in(std::string_view digits) {
  unsigned value = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
  if (error != std::errc() || end != digits.data() + digits.size() || value > 255) return std::nullopt;
  return static_cast<unsigned char>(value);
}

}  // namespace

SequencerHandle open_sequencer(const std::string& client_name) {
  snd_seq_t* handle = nullptr;
  if (snd_seq_open(&handle, "default", SND_SEQ_OPEN_DUPLEX, SND_SEQ_NONBLOCK) < 0) return {};
  snd_seq_set_client_name(handle, client_name.c_str());
  return SequencerHandle(handle);
}

std::vector<SequencerPort> ports_to_hear(snd_seq_t* handle) {
  constexpr unsigned kReadable = SND_SEQ_PORT_CAP_READ | SND_SEQ_PORT_CAP_SUBS_READ;
  constexpr unsigned kMusical =
      SND_SEQ_PORT_TYPE_MIDI_GENERIC | SND_SEQ_PORT_TYPE_SYNTH | SND_SEQ_PORT_TYPE_APPLICATION;
  std::vector<SequencerPort> out;
  const int own = snd_seq_client_id(handle);
  each_port(handle, [&](const snd_seq_client_info_t& client, const snd_seq_port_info_t& port) {
    const unsigned can = snd_seq_port_info_get_capability(&port);
    if (snd_seq_client_info_get_client(&client) == own || (can & kReadable) != kReadable ||
        (can & SND_SEQ_PORT_CAP_NO_EXPORT) != 0 || (snd_seq_port_info_get_type(&port) & kMusical) == 0)
      return false;
    const snd_seq_addr_t address = *snd_seq_port_info_get_addr(&port);
    out.push_back(
        {address,
         fmt::format("{}:{} {}:{}", snd_seq_client_info_get_name(const_cast<snd_seq_client_info_t*>(&client)),
                     snd_seq_port_info_get_name(&port), address.client, address.port)});
    return false;
  });
  return out;
}

std::optional<snd_seq_addr_t> address_in(std::string_view raw_name) {
  const auto space = raw_name.rfind(' ');
  if (space == std::string_view::npos) return std::nullopt;
  const std::string_view tail = raw_name.substr(space + 1);
  const auto colon = tail.find(':');
  if (colon == std::string_view::npos) return std::nullopt;
  const auto client = number_in(tail.substr(0, colon)), port = number_in(tail.substr(colon + 1));
  if (!client || !port) return std::nullopt;
  return snd_seq_addr_t{*client, *port};
}

std::optional<unsigned> listeners_of(snd_seq_t* handle, const std::string& client, const std::string& port) {
  std::optional<unsigned> found;
  each_port(handle, [&](const snd_seq_client_info_t& its_client, const snd_seq_port_info_t& its_port) {
    auto* info = const_cast<snd_seq_client_info_t*>(&its_client);  // ALSA's getter of the name is not const
    if (!is_ours(snd_seq_client_info_get_pid(&its_client)) || client != snd_seq_client_info_get_name(info) ||
        port != snd_seq_port_info_get_name(&its_port))
      return false;
    snd_seq_query_subscribe_t* query = nullptr;
    snd_seq_query_subscribe_alloca(&query);
    snd_seq_query_subscribe_set_root(query, snd_seq_port_info_get_addr(&its_port));
    snd_seq_query_subscribe_set_type(query, SND_SEQ_QUERY_SUBS_READ);
    snd_seq_query_subscribe_set_index(query, 0);
    found = snd_seq_query_port_subscribers(handle, query) < 0
                ? 0
                : static_cast<unsigned>(snd_seq_query_subscribe_get_num_subs(query));
    return true;
  });
  return found;
}

}  // namespace undersong::midi
