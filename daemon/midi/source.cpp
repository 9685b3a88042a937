#include "daemon/midi/source.h"

#include <sys/eventfd.h>
#include <unistd.h>

#include <cerrno>
#include <system_error>

namespace undersong::midi {

Waker::Waker() : fd_(::eventfd(0, EFD_NONBLOCK | EFD_CLOEXEC)) {
  if (fd_ < 0)
    throw std::system_error(errno, std::generic_category(), "cannot make an eventfd for the MIDI inputs");
}
Waker::~Waker() {
  ::close(fd_);
}

void Waker::wake() noexcept {
  if (pending_.exchange(true, std::memory_order_acq_rel)) return;
  const std::uint64_t one = 1;
  // The write fails only when the counter is full, and then the consumer is awake anyway.
  [[maybe_unused]] const auto written = ::write(fd_, &one, sizeof one);
}

void Waker::clear() noexcept {
  std::uint64_t count;
  [[maybe_unused]] const auto got = ::read(fd_, &count, sizeof count);
  pending_.exchange(false, std::memory_order_acq_rel);
}

}  // namespace undersong::midi
