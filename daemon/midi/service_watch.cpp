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
namespace {

// A service that starts makes a file and gives it its size afterwards. Who maps one in between is ended by
// the kernel (SIGBUS), as libjack does when it connects. So a service is told of when no file has come for a
// while; and after so many files all the same, should they never end.
constexpr int kQuiet = 250;  // milliseconds
constexpr int kMostTold = 1000;

}  // namespace

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

// Reads what the kernel tells. Returns whether a file of a service was in it.
bool ServiceWatch::read_files() {
  alignas(inotify_event) std::array<char, 4096> buffer;
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
  return came;
}

void ServiceWatch::run() {
  std::array<pollfd, 2> waits{{{files_, POLLIN, 0}, {quit_, POLLIN, 0}}};
  int quiet = 0;  // milliseconds without a further file to wait for; 0: nothing has come
  for (int told = 0;;) {
    const int ready = ::poll(waits.data(), waits.size(), quiet > 0 ? quiet : -1);
    if (ready < 0 && errno != EINTR) return;
    if (waits[1].revents != 0) return;
    if (ready > 0 && read_files()) quiet = kQuiet;
    if (ready > 0 && quiet > 0) ++told;
    if (told == kMostTold || (ready == 0 && quiet > 0)) {
      told = quiet = 0;
      came_();
    }
  }
}

}  // namespace undersong::midi
