#include "daemon/midi/inputs.h"

namespace undersong::midi {

Inputs::Inputs(std::size_t lane_capacity) : lane_capacity_(lane_capacity) {
  notices_.lane = std::make_unique<Lane>(kNoPort, 1024, waker_);
}

Lane* Inputs::lane(std::string_view name) {
  const std::lock_guard lock(mutex_);
  for (const PortInfo& port : ports_) {
    if (port.name == name) return slots_[port.number].lane.get();
  }
  const std::size_t count = ports_.size();
  if (count == kMostInputs) return nullptr;
  const auto number = static_cast<PortNumber>(count);
  slots_[count].lane = std::make_unique<Lane>(number, lane_capacity_, waker_);
  ports_.push_back({number, std::string(name), false});
  slot_count_.store(count + 1, std::memory_order_release);
  return slots_[count].lane.get();
}

void Inputs::announce(Notice notice, const Lane& lane) {
  const std::lock_guard lock(mutex_);
  if (lane.port() < ports_.size()) ports_[lane.port()].connected = notice == Notice::kPortCame;
  // Push into the queue directly: Lane::push would put its own port number on the notice.
  notices_.lane->queue().push(make_notice(notice, lane.port(), steady_now()));
  waker_.wake();
}

std::vector<PortInfo> Inputs::ports() const {
  const std::lock_guard lock(mutex_);
  return ports_;
}

void Inputs::set_trouble(std::string sentence) {
  const std::lock_guard lock(mutex_);
  if (sentence == trouble_) return;
  trouble_ = std::move(sentence);
  // The consumer reports it. kNone is no event of a port.
  notices_.lane->queue().push(make_notice(Notice::kNone, kNoPort, steady_now()));
  waker_.wake();
}

std::string Inputs::trouble() const {
  const std::lock_guard lock(mutex_);
  return trouble_;
}

std::uint64_t Inputs::dropped(PortNumber port) const {
  return port < slot_count_.load(std::memory_order_acquire) ? slots_[port].lane->dropped() : 0;
}

std::uint64_t Inputs::dropped() const {
  std::uint64_t sum = 0;
  const std::size_t count = slot_count_.load(std::memory_order_acquire);
  for (std::size_t i = 0; i < count; ++i) sum += slots_[i].lane->dropped();
  return sum;
}

}  // namespace undersong::midi
