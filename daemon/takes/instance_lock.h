// InstanceLock: ensures that only one program writes to a file of takes. The lock is held while this object
// lives, and the system releases it if the process is killed.
//
//   auto lock = InstanceLock::take(takes_file, "stop it first");
//   if (!lock) return lock.error();
//
// Take it before the store is opened. Otherwise a second daemon would find the first one's open take and
// treat it as interrupted. Let it go after the store is closed: closing a file gives up what SQLite has
// locked in it.
//
// Threads: any.
// Errors: one sentence.
// Source: flock(2).
#pragma once

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "daemon/base/result.h"

namespace undersong::takes {

class InstanceLock {
 public:
  // Locks the file of takes, if there is one, by whatever name it is called, and `takes_file`.lock, which it
  // creates beside the file that a symbolic link leads to. Errors: kConflict if another process holds either.
  // `advice` ends the sentence that says so.
  static Result<std::unique_ptr<InstanceLock>> take(const std::filesystem::path& takes_file,
                                                    const std::string& advice);
  ~InstanceLock();
  InstanceLock(const InstanceLock&) = delete;
  InstanceLock& operator=(const InstanceLock&) = delete;

 private:
  InstanceLock() = default;
  std::vector<int> descriptors_;
};

}  // namespace undersong::takes
