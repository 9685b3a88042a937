// BoundedQueue<T>: messages from one writing thread to one reading thread, without locks.
//
// The capacity is fixed at construction, which is the only moment memory is taken. What does not fit is
// counted and left out, so that a writer in a real-time callback never waits; the reader asks `dropped()` and
// says so.
//
// Threads: `push` from one thread at a time, `pop`, `consume` and `empty` from one other; `dropped` from any.
// Real time: `push` is RT safe (no lock, heap, system call, exception).
#pragma once

#include <atomic>
#include <boost/lockfree/spsc_queue.hpp>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <type_traits>

namespace undersong {

template <class T>
class BoundedQueue {
  static_assert(std::is_trivially_copyable_v<T>,
                "what passes a real-time queue must be copied as plain bytes");

 public:
  // REQUIRES: capacity >= 1.
  explicit BoundedQueue(std::size_t capacity) : ring_(capacity) {}
  BoundedQueue(const BoundedQueue&) = delete;
  BoundedQueue& operator=(const BoundedQueue&) = delete;

  // False when the queue was full; the message is then counted as dropped.
  bool push(const T& message) noexcept {
    if (ring_.push(message)) return true;
    drop();
    return false;
  }
  // Counts a message that the writer left out by itself. The writer's thread.
  void drop() noexcept {
    // The writer is the only one who adds, so a load and a store are enough.
    dropped_.store(dropped_.load(std::memory_order_relaxed) + 1, std::memory_order_relaxed);
  }

  std::optional<T> pop() noexcept {
    T message;
    if (!ring_.pop(message)) return std::nullopt;
    return message;
  }

  // Calls `use` with every message that is there; returns how many.
  template <class Use>
  std::size_t consume(Use&& use) {
    return ring_.consume_all(use);
  }

  // Reader's view: false means a pop will succeed.
  bool empty() const noexcept { return ring_.read_available() == 0; }
  // Writer's view: true means a push will succeed.
  bool has_room() const noexcept { return room() > 0; }
  std::size_t room() const noexcept { return ring_.write_available(); }
  // How many messages did not fit since construction.
  std::uint64_t dropped() const noexcept { return dropped_.load(std::memory_order_relaxed); }

 private:
  boost::lockfree::spsc_queue<T> ring_;
  std::atomic<std::uint64_t> dropped_{0};
};

}  // namespace undersong
