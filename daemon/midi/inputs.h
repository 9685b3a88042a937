// Inputs: owns all lanes and hands their events to one consumer.
//
//   inputs.drain([&](const Event& event) { analysis.event(event); });   // when wake_fd() is readable
//
// A source asks for a lane by the name of its input and pushes into it. The consumer waits until wake_fd() is
// readable, then drains all lanes in time order. A name keeps its PortNumber as long as this object lives, so
// a keyboard that comes back is the same input.
//
// Times given to the consumer never decrease. An event that arrives in one lane after a later event of
// another lane was delivered takes that event's time; the difference is a matter of microseconds.
//
// Units: Micros of steady_now(); capacities in events.
// Threads: lane, announce and ports from any thread except a real-time one, because they lock. drain from one
// thread, the consumer. dropped and wake_fd from any thread. Lane::push as described there.
// Errors: at most kMostInputs inputs of `lane_capacity` events each. A full lane loses events and counts
// them: the consumer receives a kLost notice where the gap is, and dropped(port) has the total.
// Source: none needed.
#pragma once

#include <algorithm>
#include <array>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/midi/source.h"

namespace undersong::midi {

struct PortInfo {
  PortNumber number = kNoPort;
  std::string name;
  bool connected = false;
};

class Inputs {
 public:
  static constexpr std::size_t kMostInputs = 64;
  static constexpr std::size_t kDrainAtOnce = 4096;

  explicit Inputs(std::size_t lane_capacity = 4096);

  // The lane of the input called `name`, made at the first call. nullptr when there are kMostInputs inputs
  // already. Lives as long as this object.
  Lane* lane(std::string_view name);
  // Tells the consumer and ports() that an input came, went or ended.
  void announce(Notice notice, const Lane& lane);
  std::vector<PortInfo> ports() const;  // every input seen so far, in order of number

  // Why no MIDI service can be opened, in one sentence; empty when one is. Any thread except a real-time one.
  void set_trouble(std::string sentence);
  std::string trouble() const;

  int wake_fd() const { return waker_.fd(); }
  // Calls `use(const Event&)` for every waiting event and notice, on the consumer's thread, and returns how
  // many there were. After kDrainAtOnce events it returns early and wakes itself again.
  template <class Use>
  std::size_t drain(Use&& use);
  // Events lost so far, in all lanes.
  std::uint64_t dropped() const;
  std::uint64_t dropped(PortNumber port) const;  // in one lane

 private:
  struct Slot {
    std::unique_ptr<Lane> lane;
    std::optional<Event> head;  // the next event; used by the consumer only
  };
  static void refill(Slot& slot) {
    if (!slot.head) slot.head = slot.lane->queue().pop();
  }
  // At equal times, an input's kPortCame comes before its notes and all other notices come after them.
  static std::pair<Micros, int> order(const Event& e) {
    const Notice notice = notice_of(e);
    return {e.at, notice == Notice::kPortCame ? 0 : notice == Notice::kNone ? 1 : 2};
  }

  const std::size_t lane_capacity_;
  Waker waker_;
  mutable std::mutex mutex_;  // guards ports_, trouble_, adding to slots_ and writing to notices_
  std::vector<PortInfo> ports_;
  std::string trouble_;
  std::array<Slot, kMostInputs> slots_;
  std::atomic<std::size_t> slot_count_{0};  // written under mutex_, read by any thread without it
  Slot notices_;
  Micros last_{0};  // used by the consumer only
};

template <class Use>
std::size_t Inputs::drain(Use&& use) {
  waker_.clear();
  std::size_t given = 0;
  const auto give = [&](Event event) {
    last_ = event.at = std::max(event.at, last_);
    ++given;
    use(static_cast<const Event&>(event));
  };
  for (;;) {
    if (given >= kDrainAtOnce) {
      waker_.wake();
      return given;
    }
    // Read the notices first: a consumer that sees a kPortGone has then also seen every event that the port
    // sent before.
    refill(notices_);
    Slot* next = notices_.head ? &notices_ : nullptr;
    const std::size_t count = slot_count_.load(std::memory_order_acquire);
    for (std::size_t i = 0; i < count; ++i) {
      refill(slots_[i]);
      if (slots_[i].head && (!next || order(*slots_[i].head) < order(*next->head))) next = &slots_[i];
    }
    if (!next) break;
    const Event event = *next->head;
    next->head.reset();
    give(event);
  }
  const std::size_t count = slot_count_.load(std::memory_order_acquire);
  for (std::size_t i = 0; i < count; ++i) {
    Lane& lane = *slots_[i].lane;
    const std::uint64_t dropped = lane.dropped();
    // While events are queued, the gap may lie behind them. The next drain will see it.
    if (slots_[i].head || !lane.queue().empty()) continue;
    if (const std::uint64_t lost = lane.claim(dropped)) give(make_loss(lane.port(), last_, lost));
  }
  return given;
}

}  // namespace undersong::midi
