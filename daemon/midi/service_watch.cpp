#include "daemon/midi/service_watch.h"

#include <poll.h>
#include <pthread.h>
#include <sys/eventfd.h>
#include <sys/inotify.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <string_view>
#include <utility>

namespace undersong::midi {

// Source: jackd2's default server folder, the sockets of PipeWire, and the devices of ALSA (documentation of
// each).
std::vector<WatchedFolder> service_folders() {
  std::vector<WatchedFolder> out{{"/dev/shm", "jack"}, {"/dev", "snd"}, {"/dev/snd", "seq"}};
  if (const char* folder = std::getenv("XDG_RUNTIME_DIR"); folder != nullptr && *folder != '\0')
    out.push_back({folder, "pipewire"});
  return out;
}

std::unique_ptr<ServiceWatch> ServiceWatch::begin(const std::vector<WatchedFolder>& folders,
                                                  std::function<void()> came) {
  const int files = ::inotify_init1(IN_CLOEXEC | IN_NONBLOCK);
  const int quit = ::eventfd(0, EFD_CLOEXEC);
  std::unique_ptr<ServiceWatch> watch(new ServiceWatch(files, quit));
  if (files < 0 || quit < 0) return nullptr;
  for (const WatchedFolder& each : folders) {
    // IN_ATTRIB: a device is there before its rights are.
    const int number = ::inotify_add_watch(files, each.folder.c_str(), IN_CREATE | IN_MOVED_TO | IN_ATTRIB);
    if (number >= 0) watch->names_.emplace_back(number, each.begins);
  }
  if (watch->names_.empty()) return nullptr;
  watch->came_ = std::move(came);
  watch->thread_ = std::thread([self = watch.get()] { self->run(); });
  pthread_setname_np(watch->thread_.native_handle(), "midi-files");
  return watch;
}

ServiceWatch::~ServiceWatch() {
  if (thread_.joinable()) {
    const std::uint64_t one = 1;
    while (::write(quit_, &one, sizeof one) < 0 && errno == EINTR) {
    }
    thread_.join();
  }
  if (files_ >= 0) ::close(files_);
  if (quit_ >= 0) ::close(quit_);
}

void ServiceWatch::run() {
  std::array<pollfd, 2> waits{{{files_, POLLIN, 0}, {quit_, POLLIN, 0}}};
  alignas(inotify_event) std::array<char, 4096> buffer;
  for (;;) {
    if (::poll(waits.data(), waits.size(), -1) < 0 && errno != EINTR) return;
    if (waits[1].revents != 0) return;
    const ssize_t size = ::read(files_, buffer.data(), buffer.size());
    bool came = false;
    for (ssize_t at = 0; at < size;) {
      inotify_event event;
      std::memcpy(&event, buffer.data() + at, sizeof event);
      const std::string_view name(event.len > 0 ? buffer.data() + at + sizeof event : "");
      for (const auto& [number, begins] : names_)
        came = came || (number == event.wd && name.starts_with(begins));
      at += static_cast<ssize_t>(sizeof event + event.len);
    }
    if (came) came_();
  }
}

}  // namespace undersong::midi
