// BoundedQueue<T>: passes messages from one writing thread to one reading thread without locks.
//
//   BoundedQueue<Event> queue(4096);
//   queue.push(event);                               // the writer
//   while (auto event = queue.pop()) use(*event);    // the reader
//
// The capacity is fixed at construction, which is the only time memory is allocated. When the queue is full,
// a new message is dropped and counted, so that a writer in a real-time callback never waits. The reader
// reads the count from `dropped()` and reports it.
//
// Units: capacity and counts in messages.
// Threads: `push`, `drop`, `has_room` and `room` from one thread at a time (the writer); `pop`, `consume` and
// `empty` from one other thread (the reader); `dropped` from any thread. All except `pop` and `consume` are
// real-time safe: no lock, no allocation, no logging, no system call, no exception.
// Errors: only the constructor can fail, with std::bad_alloc. A full queue is not an error: `push` returns
// false.
// Source: boost::lockfree::spsc_queue.
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

  // Returns false when the queue is full; the message is then dropped and counted. Real-time safe: no lock,
  // no allocation, no logging.
  bool push(const T& message) noexcept {
    if (ring_.push(message)) return true;
    drop();
    return false;
  }
  // Counts a message that the writer chose not to push. Called by the writer. Real-time safe: no lock, no
  // allocation, no logging.
  void drop() noexcept {
    // Only the writer changes the counter, so a load and a store are enough.
    dropped_.store(dropped_.load(std::memory_order_relaxed) + 1, std::memory_order_relaxed);
  }

  // The oldest message, or nullopt when the queue is empty. Called by the reader.
  std::optional<T> pop() noexcept {
    T message;
    if (!ring_.pop(message)) return std::nullopt;
    return message;
  }

  // Calls `use` with every waiting message and returns how many there were. `use` runs on the reader's
  // thread.
  template <class Use>
  std::size_t consume(Use&& use) {
    return ring_.consume_all(use);
  }

  // Called by the reader. False means that the next `pop` will succeed.
  bool empty() const noexcept { return ring_.read_available() == 0; }
  // Called by the writer. True means that the next `push` will succeed.
  bool has_room() const noexcept { return room() > 0; }
  std::size_t room() const noexcept { return ring_.write_available(); }
  // Messages dropped since construction.
  std::uint64_t dropped() const noexcept { return dropped_.load(std::memory_order_relaxed); }

 private:
  boost::lockfree::spsc_queue<T> ring_;
  // Written by the writer, read by any thread; atomic, so it needs no lock.
  std::atomic<std::uint64_t> dropped_{0};
};

}  // namespace undersong
