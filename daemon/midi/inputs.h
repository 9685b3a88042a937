// Inputs: all lanes, and their one consumer.
//
// Sources ask for a lane by the name of the input and push into it; the consumer waits on wake_fd() (it
// becomes readable) and drains all lanes in order of time. A name keeps its PortNumber for the life of the
// object, so a keyboard that comes back is the same input. Times given to the consumer never decrease: an
// event that arrives in one lane after a later one of another lane has been delivered gets that one's time (a
// matter of microseconds).
//
// Threads: lane, announce and ports from any thread but a real-time one; drain from one thread; Lane::push as
// said there. Bounds: kMostInputs inputs, `lane_capacity` events each. A full lane loses events, counts them,
// and the consumer gets a kLost notice for that input, where the gap is; dropped(port) says how many there
// were so far.
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

  // The lane of the input called `name`, made on first use; nullptr when there are kMostInputs already. Lives
  // as long as this object.
  Lane* lane(std::string_view name);
  // Tells the consumer, and ports(), that an input came or went (or ended).
  void announce(Notice notice, const Lane& lane);
  std::vector<PortInfo> ports() const;  // every input seen so far, by number

  int wake_fd() const { return waker_.fd(); }
  // Gives waiting events and notices to `use(const Event&)`; after kDrainAtOnce it returns, and wakes itself
  // again.
  template <class Use>
  std::size_t drain(Use&& use);
  // Events that did not fit, over all lanes.
  std::uint64_t dropped() const;
  std::uint64_t dropped(PortNumber port) const;  // over one

 private:
  struct Slot {
    std::unique_ptr<Lane> lane;
    std::optional<Event> head;  // consumer only
  };
  static void refill(Slot& slot) {
    if (!slot.head) slot.head = slot.lane->queue().pop();
  }
  // At equal times an input comes before its notes and goes after them.
  static std::pair<Micros, int> order(const Event& e) {
    const Notice notice = notice_of(e);
    return {e.at, notice == Notice::kPortCame ? 0 : notice == Notice::kNone ? 1 : 2};
  }

  const std::size_t lane_capacity_;
  Waker waker_;
  mutable std::mutex mutex_;  // ports_, growing of slots_, writing to notices_
  std::vector<PortInfo> ports_;
  std::array<Slot, kMostInputs> slots_;
  std::atomic<std::size_t> slot_count_{0};  // written under mutex_, read by the consumer
  Slot notices_;
  Micros last_{0};  // consumer only
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
    // Notices first: who sees that a port went then also sees all that it sent before.
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
    // While something is queued the gap may lie behind it, and we come again.
    if (slots_[i].head || !lane.queue().empty()) continue;
    if (const std::uint64_t lost = lane.claim(dropped)) give(make_loss(lane.port(), last_, lost));
  }
  return given;
}

}  // namespace undersong::midi
