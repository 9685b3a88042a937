// EchoGuard: what we send must not be heard back as playing, even through a port or an instrument that echoes
// it.
//
// Remembers each message sent; an incoming message that equals one of them, within a window after it was
// sent, is taken for its echo. One sent message explains one echo on each input, so the same key truly played
// is heard: when it comes outside the window, or beside the echo. Note messages are compared by on or off,
// channel and pitch, because services and instruments rewrite velocities and note-ons of velocity 0; all
// others byte for byte.
//
// Which of two equal messages within the window is the echo can't be known; the first to arrive is taken, and
// as they differ by less than the window in time and not at all in pitch, the harmony heard is the same.
//
// Pure: time is data. Fixed memory: the last kRemembered messages; no heap.
#pragma once

#include <array>
#include <atomic>
#include <bitset>
#include <cstddef>
#include <mutex>

#include "daemon/midi/event.h"

namespace undersong::midi {

class EchoGuard {
 public:
  static constexpr Micros kWindow{
      160'000};  // a USB instrument answers within a few milliseconds, a network session within 40, a busy machine later
  static constexpr std::size_t kRemembered = 256;

  explicit EchoGuard(Micros window = kWindow) : window_(window) {}

  // `message.at` is the time of sending.
  void sent(const Event& message);
  // Is this incoming message an echo? Uses up what explains it, so call once for each message received.
  bool is_echo(const Event& received);

 private:
  struct Sent {
    Event message;
    std::bitset<256> heard;  // on which inputs it has come back
  };
  static Event comparable(const Event& message);

  const Micros window_;
  std::array<Sent, kRemembered> ring_{};
  std::size_t next_ = 0, count_ = 0;
};

// The same between the thread that sends and the one that hears. While nothing was sent of late, asking takes no lock.
class SharedEchoGuard {
 public:
  void sent(const Event& message) {
    const std::lock_guard lock(mutex_);
    guard_.sent(message);
    newest_ = message.at.count();
  }
  bool is_echo(const Event& received) {
    if (received.at.count() - newest_ > EchoGuard::kWindow.count()) return false;
    const std::lock_guard lock(mutex_);
    return guard_.is_echo(received);
  }

 private:
  std::mutex mutex_;  // guard_
  EchoGuard guard_;
  std::atomic<std::int64_t> newest_{-3'600'000'000};  // when the newest message was sent
};

}  // namespace undersong::midi
