// One daemon for one file of takes: a lock that is held while this object lives, and gone with the process.
//
// Taken before the store is opened: a second daemon would take the first one's open take for an interrupted
// one.
#pragma once

#include <filesystem>
#include <memory>

#include "daemon/base/result.h"

namespace undersong::app {

class InstanceLock {
 public:
  // Makes `takes_file`.lock. Errors: kConflict when another process holds it.
  static Result<std::unique_ptr<InstanceLock>> take(const std::filesystem::path& takes_file);
  ~InstanceLock();
  InstanceLock(const InstanceLock&) = delete;
  InstanceLock& operator=(const InstanceLock&) = delete;

 private:
  explicit InstanceLock(int descriptor) : descriptor_(descriptor) {}
  int descriptor_;
};

}  // namespace undersong::app
