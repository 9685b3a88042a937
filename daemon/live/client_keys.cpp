#include "daemon/live/client_keys.h"

namespace undersong::live {

Result<std::uint64_t> ClientKeys::play(ClientId client, std::span<const ClientNote> notes) {
  if (!lane_) return Error{ErrorCode::kExhausted, "There are too many inputs for a client's keys."};
  std::uint64_t taken = 0;
  auto& down = down_[client];
  // One time for all: what is sent together is struck together, also when this thread is held up between two.
  const Micros at = midi::steady_now();
  for (const ClientNote& note : notes) {
    const bool on = note.on && note.velocity.value() > 0;
    if (!lane_->push(on ? midi::note_on(at, 0, note.pitch, note.velocity)
                        : midi::note_off(at, 0, note.pitch)))
      break;
    down[static_cast<std::size_t>(note.pitch.value())] = on;
    ++taken;
  }
  return taken;
}

void ClientKeys::gone(ClientId client) {
  const auto found = down_.find(client);
  if (found == down_.end()) return;
  for (std::size_t key = 0; key < found->second.size(); ++key)
    if (found->second[key]) lane_->push(midi::note_off(midi::steady_now(), 0, Pitch(static_cast<int>(key))));
  down_.erase(found);
}

}  // namespace undersong::live
