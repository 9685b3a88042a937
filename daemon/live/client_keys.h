// ClientKeys: the notes that clients play. They arrive through one input that all clients share, beside the
// MIDI inputs. When a client disconnects, the notes that it still holds are released.
//
//   auto taken = keys.play(client, notes);   // how many notes were accepted
//   keys.gone(client);                       // its connection has ended
//
// Units: the notes are stamped with steady_now().
// Threads: the io thread only.
// Errors: `play` returns one sentence if there is no input for clients.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <span>

#include "daemon/base/result.h"
#include "daemon/listen/note_state.h"
#include "daemon/midi/inputs.h"

namespace undersong::live {

using ClientId = std::uint64_t;  // of one connection; not reused while the daemon runs

struct ClientNote {
  Pitch pitch;
  Velocity velocity;
  bool on = false;  // with velocity 0, a note-on counts as a note-off
};

class ClientKeys {
 public:
  // `inputs` must outlive this object.
  explicit ClientKeys(midi::Inputs& inputs) : lane_(inputs.lane("keys of a client")) {}

  // The input that clients share; empty if there were already too many inputs.
  std::optional<midi::PortNumber> port() const { return lane_ ? std::optional(lane_->port()) : std::nullopt; }
  // Plays the notes in order and returns how many were accepted. If the input is full, the rest are left out.
  Result<std::uint64_t> play(ClientId client, std::span<const ClientNote> notes);
  void gone(ClientId client);

 private:
  midi::Lane* const lane_;
  std::map<ClientId, listen::PitchSet> down_;
};

}  // namespace undersong::live
