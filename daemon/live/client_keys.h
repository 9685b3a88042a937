// The keys that clients play on: an input of their own among the others. What a client still holds when its
// connection goes is let go of.
//
// Threads: the io thread. Errors: one sentence.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <span>

#include "daemon/base/result.h"
#include "daemon/listen/note_state.h"
#include "daemon/midi/inputs.h"

namespace undersong::live {

using ClientId = std::uint64_t;  // of a connection; never used again while the daemon runs

struct ClientNote {
  Pitch pitch;
  Velocity velocity;
  bool on = false;
};

class ClientKeys {
 public:
  // `inputs` outlive this.
  explicit ClientKeys(midi::Inputs& inputs) : lane_(inputs.lane("keys of a client")) {}

  // Its input; nothing when there are too many inputs.
  std::optional<midi::PortNumber> port() const { return lane_ ? std::optional(lane_->port()) : std::nullopt; }
  // How many were taken in; those that don't fit are not.
  Result<std::uint64_t> play(ClientId client, std::span<const ClientNote> notes);
  void gone(ClientId client);

 private:
  midi::Lane* const lane_;
  std::map<ClientId, listen::PitchSet> down_;
};

}  // namespace undersong::live
