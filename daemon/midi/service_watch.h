// Tells when a MIDI service may have come: JACK's and PipeWire's sockets and ALSA's sequencer are files, and
// the kernel tells when one appears (inotify). So nobody has to look for a service every few seconds while
// there is none.
//
//   const auto watch = ServiceWatch::begin(service_folders(), [&] { bell.ring(); });
//
// Units: none.
// Threads: `came` is called on the watch's own thread, which sleeps until a file appears; it must be quick.
// The destructor waits for a call that is under way. Errors: null where the kernel gives no watch. Folders
// that are missing are left out. A file says that a service begins, not that it answers yet: `came` is called
// a quarter of a second after the last file, and callers look more than once.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <thread>
#include <utility>
#include <vector>

namespace undersong::midi {

struct WatchedFolder {
  std::filesystem::path folder;
  std::string begins;  // what the names of the files begin with
};

// Where the services of this user have their files.
std::vector<WatchedFolder> service_folders();

class ServiceWatch {
 public:
  static std::unique_ptr<ServiceWatch> begin(const std::vector<WatchedFolder>& folders,
                                             std::function<void()> came);
  ~ServiceWatch();
  ServiceWatch(const ServiceWatch&) = delete;
  ServiceWatch& operator=(const ServiceWatch&) = delete;

 private:
  ServiceWatch(int files, int quit) : files_(files), quit_(quit) {}
  void run();
  bool read_files();

  int files_, quit_;  // descriptors: of inotify, and of the event that ends the thread
  std::vector<std::pair<int, std::string>> names_;  // by inotify's number of the folder
  std::function<void()> came_;
  std::thread thread_;
};

}  // namespace undersong::midi
