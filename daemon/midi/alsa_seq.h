// Small helpers for ALSA's sequencer: a handle that closes itself, and the names of ports.
//
// Threads: a handle belongs to one thread, except that reading events may go on in another.
// Errors: an empty handle, or an empty list.
// Source: ALSA sequencer API of alsa-lib.
#pragma once

#include <alsa/asoundlib.h>

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace undersong::midi {

struct CloseSequencer {
  void operator()(snd_seq_t* handle) const { snd_seq_close(handle); }
};
using SequencerHandle = std::unique_ptr<snd_seq_t, CloseSequencer>;

// Opens the sequencer without waiting for messages. Empty if it is missing or may not be used.
SequencerHandle open_sequencer(const std::string& client_name);

struct SequencerPort {
  snd_seq_addr_t address{};
  std::string name;  // "Keys:MIDI 1 20:0", as RtMidi names it too
};
// The ports of other clients that can be heard.
std::vector<SequencerPort> ports_to_hear(snd_seq_t* handle);
// "Keys:MIDI 1 20:0" is 20:0.
std::optional<snd_seq_addr_t> address_in(std::string_view raw_name);
// How many ports listen to the port `port` of this process's client `client`; nullopt if there is no such
// port.
std::optional<unsigned> listeners_of(snd_seq_t* handle, const std::string& client, const std::string& port);

}  // namespace undersong::midi
