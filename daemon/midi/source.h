// Source, Lane and the clock of all inputs: what every kind of input must provide, and where its events go.
//
// A Source opens a Lane for each input that it finds and pushes events into it. A Lane is a bounded queue
// with one writer. Inputs (inputs.h) owns all lanes and hands their events to one consumer in time order.
//
// Besides what was played, a lane carries notices. A notice is an Event of size 0 whose first byte says what
// happened, so that notices stay in order with the notes. Code that does not know about notices sees no MIDI
// message in them.
//
// Units: Micros of steady_now(), one monotonic clock for the whole process.
// Threads: see Lane, Waker and Source. Functions marked "real-time safe" may be called from the MIDI
// callback.
// Errors: Source::start() returns one sentence. A full lane loses events and counts them; see Lane::push.
// Source: common practice, no source.
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
  kPortCame = 1,  // connected, perhaps again; its first note may come slightly earlier in the queue
  kPortGone = 2,  // disconnected; sounding notes will get no note-off
  kEnded = 3,     // the source has delivered everything (end of a file)
  kLost = 4,      // the lane was full and events were lost; what still sounds is not known
};

// A kLost notice carries the number of lost events. kManyLost stands for that many or more.
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

// Real-time safe: no lock, no allocation, no logging.
inline Micros steady_now() noexcept {
  return std::chrono::duration_cast<Micros>(std::chrono::steady_clock::now().time_since_epoch());
}

// Converts the delta seconds of a MIDI back end into absolute time. All conversion happens here.
//
// A delta is trusted while the result lies within kSlack of the moment of arrival. Otherwise (the back end
// swallowed a message, its clock drifts, this is the first message) the moment of arrival is used. The result
// is never later than the arrival and never earlier than the message before.
//
// Threads: one. Real-time safe: no lock, no allocation, no logging.
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

// Wakes the consumer through a file descriptor, at most once until the consumer has looked.
class Waker {
 public:
  Waker();  // throws std::system_error when no eventfd can be made
  ~Waker();
  Waker(const Waker&) = delete;
  Waker& operator=(const Waker&) = delete;
  // Any thread. Real-time safe: no lock, no allocation, no logging; one atomic and at most one non-blocking
  // write.
  void wake() noexcept;
  void clear() noexcept;  // called by the consumer before it reads the lanes
  int fd() const { return fd_; }

 private:
  int fd_;
  // Set by writers, cleared by the consumer; atomic, so it needs no lock.
  std::atomic<bool> pending_{false};
};

// The queue of one input.
//
// Threads: one writing thread at a time calls push, lose and has_room; the consumer reads queue(); dropped()
// and claim() from both.
class Lane {
 public:
  Lane(PortNumber port, std::size_t capacity, Waker& waker) : port_(port), queue_(capacity), waker_(waker) {}

  // Pushes an event; called by the writer. Real-time safe: no lock, no allocation, no logging.
  //
  // When the lane is full, the event is lost and counted, and the result is false. A kLost notice then stands
  // in the queue where the gap is, before the first event that fits again, so that the reader can trust what
  // was struck after the gap. If no further event comes, the consumer makes the notice itself.
  bool push(Event event) noexcept {
    event.port = port_;
    bool fitted = true;
    if (dropped() != told_.load(std::memory_order_relaxed)) {
      fitted = queue_.room() >= 2;  // both the notice and the event must fit
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
  // Called by the writer when the MIDI service lost messages of this input before they came here, at least
  // one. Counted and reported like an event that did not fit. Real-time safe: no lock, no allocation, no
  // logging.
  void lose() noexcept {
    queue_.drop();
    waker_.wake();
  }
  bool has_room() const noexcept { return queue_.has_room(); }  // called by the writer; real-time safe
  PortNumber port() const { return port_; }
  std::uint64_t dropped() const noexcept { return queue_.dropped(); }
  // Returns how many of the first `dropped` losses have not been reported yet, and marks them as reported.
  // Called by the writer or the consumer. Real-time safe: no lock, no allocation, no logging.
  std::uint64_t claim(std::uint64_t dropped) noexcept {
    std::uint64_t told = told_.load(std::memory_order_relaxed);
    do
      if (told >= dropped) return 0;
    while (!told_.compare_exchange_weak(told, dropped, std::memory_order_relaxed));
    return dropped - told;
  }

  BoundedQueue<Event>& queue() { return queue_; }  // called by the consumer

 private:
  const PortNumber port_;
  BoundedQueue<Event> queue_;
  std::atomic<std::uint64_t> told_{0};  // losses already reported; written and read by writer and consumer
  Waker& waker_;
};

class Inputs;

// A kind of input. One owner thread constructs, starts, stops and destroys it. It may run its own threads,
// which have ended when stop() returns. The destructor stops it.
class Source {
 public:
  virtual ~Source() = default;
  virtual Result<void> start() = 0;
  virtual void stop() = 0;
};

}  // namespace undersong::midi
