#include "daemon/takes/instance_lock.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

namespace undersong::takes {

Result<std::unique_ptr<InstanceLock>> InstanceLock::take(const std::filesystem::path& takes_file,
                                                         const std::string& advice) {
  const std::string path = takes_file.string() + ".lock";
  const int descriptor = open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
  if (descriptor < 0)
    return unavailable(fmt::format("{}: can't be written: {}.", path, std::strerror(errno)));
  if (flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
    const int reason = errno;
    close(descriptor);
    if (reason == EWOULDBLOCK)
      return Error{ErrorCode::kConflict,
                   fmt::format("Another program keeps takes in {} now: {}.", takes_file.string(), advice)};
    return unavailable(fmt::format("{}: can't be locked: {}.", path, std::strerror(reason)));
  }
  return std::unique_ptr<InstanceLock>(new InstanceLock(descriptor));
}

InstanceLock::~InstanceLock() {
  close(descriptor_);
}

}  // namespace undersong::takes
