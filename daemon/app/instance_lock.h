// InstanceLock: ensures that only one daemon uses a file of takes. The lock is held while this object lives,
// and the system releases it if the process is killed.
//
//   auto lock = InstanceLock::take(takes_file);
//   if (!lock) return lock.error();
//
// Take it before the store is opened. Otherwise a second daemon would find the first one's open take and
// treat it as interrupted.
//
// Threads: any.
// Errors: one sentence.
// Source: flock(2).
#pragma once

#include <filesystem>
#include <memory>

#include "daemon/base/result.h"

namespace undersong::app {

class InstanceLock {
 public:
  // Creates the file `takes_file`.lock and locks it. Errors: kConflict if another process holds the lock.
  static Result<std::unique_ptr<InstanceLock>> take(const std::filesystem::path& takes_file);
  ~InstanceLock();
  InstanceLock(const InstanceLock&) = delete;
  InstanceLock& operator=(const InstanceLock&) = delete;

 private:
  explicit InstanceLock(int descriptor) : descriptor_(descriptor) {}
  int descriptor_;
};

}  // namespace undersong::app
