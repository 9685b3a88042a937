// JackTurn: one at a time, the threads of this process call JACK's library.
//
//   const auto turn = JackTurn::take();
//   if (turn) JackOwned<RtMidiIn> in(std::make_unique<RtMidiIn>(RtMidi::UNIX_JACK, "Undersong"));
//
// JACK's library sweeps: when a client is opened after the server has died, it first deletes all clients that
// the process still has, of whichever thread, and says so only in its message of the error. Whoever touches
// one of them afterwards touches freed memory. A server may die at any instant, also while a client is being
// opened, so no check beforehand is enough. Therefore every call of ours is made in a turn, and a client that
// was opened before the last sweep is never touched again.
//
// Threads: any. A turn may be taken again by the thread that has it. Real-time threads take none: JACK's own,
// and RtMidi's sendMessage, which only writes to a buffer of RtMidi.
// Errors: no turn if somebody else's does not end; opening a client may take for ever.
// Source: the behaviour of libjack 1.9.21, tried.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>

namespace undersong::midi {

class JackTurn {
 public:
  static constexpr std::chrono::milliseconds kPatience{2000};
  static std::optional<JackTurn> take(std::chrono::milliseconds patience = kPatience);
  // Called in a turn before a client is opened. `swept` is called by whoever opens a client, in the turn,
  // whenever all clients of before were deleted.
  static void watch_sweeps(void (*swept)());
  // How often all clients were deleted. It changes only in somebody's turn.
  static std::uint32_t sweeps();

 private:
  explicit JackTurn(std::unique_lock<std::recursive_timed_mutex> lock) : lock_(std::move(lock)) {}
  std::unique_lock<std::recursive_timed_mutex> lock_;
};

// Owns an object that has a client of JACK. The object is left in memory if its client was deleted.
template <class T>
class JackOwned {
 public:
  JackOwned() = default;
  // `object` was made in this turn.
  explicit JackOwned(std::unique_ptr<T> object) : object_(std::move(object)) {}
  JackOwned(JackOwned&&) noexcept = default;
  JackOwned& operator=(JackOwned&& other) noexcept {
    reset();
    object_ = std::move(other.object_);
    sweeps_ = other.sweeps_;
    return *this;
  }
  ~JackOwned() { reset(); }

  void reset() {
    if (!object_) return;
    const auto turn = JackTurn::take();
    if (swept())
      (void)object_.release();
    else
      object_.reset();
  }
  bool swept() const { return sweeps_ != JackTurn::sweeps(); }
  explicit operator bool() const { return object_ != nullptr; }
  // In a turn, and only if it was not swept.
  T* operator->() const { return object_.get(); }

 private:
  std::unique_ptr<T> object_;
  std::uint32_t sweeps_ = JackTurn::sweeps();
};

}  // namespace undersong::midi
