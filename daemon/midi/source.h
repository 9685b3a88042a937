// What an input of any kind gives, and what it gives it to.
//
// A Source opens a Lane for each input it finds and pushes events into it. A Lane is a bounded queue with one
// writer; Inputs (sources.h) owns all lanes and gives their content to one consumer in time order. Besides
// what was played, a lane carries notices: an Event of size 0 whose first byte says what happened, so that
// they stay in order with the notes. To code that knows nothing of them they look like no MIDI message.
//
// Units: times are Micros of steady_now(), one monotonic clock for the whole process.
// Threads: see Lane and Source.
#pragma once

#include <atomic>
#include <chrono>
#include <string>
#include <utility>

#include "daemon/base/bounded_queue.h"
#include "daemon/base/result.h"
#include "daemon/midi/event.h"

namespace undersong::midi {

enum class Notice : std::uint8_t {
  kNone = 0,
  kPortCame = 1,  // the input is connected (again); its first note may be a moment earlier in the queue
  kPortGone = 2,  // the input went; what sounded on it will get no note-off
  kEnded = 3,     // the source has given all it had (end of a file)
  kLost = 4,      // the lane was full and events were lost: what sounds on it can't be trusted
};

// kLost says how many, up to kManyLost, which stands for that and more.
inline constexpr std::uint64_t kManyLost = 0xFFFF;
constexpr Event make_loss(PortNumber port, Micros at, std::uint64_t events) {
  const std::uint64_t told = events < kManyLost ? events : kManyLost;
  return {at,
          {static_cast<std::uint8_t>(Notice::kLost), static_cast<std::uint8_t>(told >> 8),
           static_cast<std::uint8_t>(told & 0xFF)},
          0,
          port};
}
constexpr std::uint64_t lost_events(const Event& notice) {
  return std::uint64_t{notice.bytes[1]} << 8 | notice.bytes[2];
}

constexpr Event make_notice(Notice notice, PortNumber port, Micros at) {
  return {at, {static_cast<std::uint8_t>(notice), 0, 0}, 0, port};
}
constexpr Notice notice_of(const Event& event) {
  return event.size == 0 && event.bytes[0] <= 4 ? static_cast<Notice>(event.bytes[0]) : Notice::kNone;
}

// RT safe.
inline Micros steady_now() noexcept {
  return std::chrono::duration_cast<Micros>(std::chrono::steady_clock::now().time_since_epoch());
}

// Turns the delta seconds of a MIDI back end into absolute time: the one place where that happens.
// A delta is trusted while it stays within kSlack of the moment of arrival; otherwise (a message that the
// back end swallowed, a clock that drifts, the first message) the moment of arrival counts. Never later than
// arrival, never earlier than the message before. One thread; RT safe.
class ArrivalClock {
 public:
  static constexpr Micros kSlack{5'000};
  Micros at(double delta_seconds, Micros arrival) noexcept {
    Micros candidate = arrival;
    if (started_ && delta_seconds >= 0.0 && delta_seconds < 3600.0) {
      candidate = last_ + Micros(static_cast<std::int64_t>(delta_seconds * 1e6 + 0.5));
      if (candidate > arrival || arrival - candidate > kSlack) candidate = arrival;
    }
    if (started_ && candidate < last_) candidate = last_;
    started_ = true;
    last_ = candidate;
    return candidate;
  }

 private:
  bool started_ = false;
  Micros last_{};
};

// Wakes the consumer by a file descriptor, at most once until the consumer has looked.
class Waker {
 public:
  Waker();  // an eventfd; throws std::system_error when the process has no descriptors left
  ~Waker();
  Waker(const Waker&) = delete;
  Waker& operator=(const Waker&) = delete;
  void wake() noexcept;   // any thread; RT safe: one atomic, at most one non-blocking write
  void clear() noexcept;  // the consumer, before it looks into the lanes
  int fd() const { return fd_; }

 private:
  int fd_;
  std::atomic<bool> pending_{false};
};

class Lane {
 public:
  Lane(PortNumber port, std::size_t capacity, Waker& waker) : port_(port), queue_(capacity), waker_(waker) {}

  // One writing thread at a time; RT safe. False when the lane was full: the event is lost and counted. A
  // kLost notice then stands in the queue where the gap is, before the first event that fits again: what was
  // struck after the gap is known. When nothing comes after it, the consumer makes the notice itself.
  bool push(Event event) noexcept {
    event.port = port_;
    bool fitted = true;
    if (dropped() != told_.load(std::memory_order_relaxed)) {
      fitted = queue_.room() >= 2;  // for the notice and the event, or neither
      if (fitted) {
        if (const std::uint64_t lost = claim(dropped())) queue_.push(make_loss(port_, event.at, lost));
      } else {
        queue_.drop();
      }
    }
    if (fitted) fitted = queue_.push(event);
    waker_.wake();
    return fitted;
  }
  bool has_room() const noexcept { return queue_.has_room(); }  // writer's view
  PortNumber port() const { return port_; }
  std::uint64_t dropped() const noexcept { return queue_.dropped(); }
  // How many of the first `dropped` nobody has told of; whoever asks does. Writer or consumer.
  std::uint64_t claim(std::uint64_t dropped) noexcept {
    std::uint64_t told = told_.load(std::memory_order_relaxed);
    do
      if (told >= dropped) return 0;
    while (!told_.compare_exchange_weak(told, dropped, std::memory_order_relaxed));
    return dropped - told;
  }

  BoundedQueue<Event>& queue() { return queue_; }  // for the consumer

 private:
  const PortNumber port_;
  BoundedQueue<Event> queue_;
  std::atomic<std::uint64_t> told_{0};  // of the dropped, those that have their notice
  Waker& waker_;
};

class Inputs;

// A kind of input. Constructed, started, stopped and destroyed by one owner thread; it may run threads of its
// own, which are over when stop() returns. Destruction stops.
class Source {
 public:
  virtual ~Source() = default;
  virtual Result<void> start() = 0;
  virtual void stop() = 0;
};

}  // namespace undersong::midi
