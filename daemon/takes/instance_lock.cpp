#include "daemon/takes/instance_lock.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

namespace undersong::takes {

namespace {

// Where a chain of symbolic links ends, whether or not there is a file yet.
std::filesystem::path followed(std::filesystem::path path) {
  constexpr int kMostLinks = 40;  // as the system allows
  std::error_code none;
  for (int i = 0; i < kMostLinks && std::filesystem::is_symlink(path, none); ++i)
    path = path.parent_path() / std::filesystem::read_symlink(path, none);
  const auto whole = std::filesystem::weakly_canonical(path, none);
  return none ? path : whole;
}

}  // namespace

Result<std::unique_ptr<InstanceLock>> InstanceLock::take(const std::filesystem::path& takes_file,
                                                         const std::string& advice) {
  const std::filesystem::path store = followed(takes_file);
  std::unique_ptr<InstanceLock> lock(new InstanceLock);
  const auto held = [&](const std::string& path, int flags) -> Result<void> {
    const int descriptor = open(path.c_str(), flags | O_CLOEXEC, 0600);
    if (descriptor < 0)
      return unavailable(fmt::format("{}: can't be opened: {}.", path, std::strerror(errno)));
    lock->descriptors_.push_back(descriptor);
    if (flock(descriptor, LOCK_EX | LOCK_NB) == 0) return {};
    if (errno == EWOULDBLOCK)
      return Error{ErrorCode::kConflict,
                   fmt::format("Another program keeps takes in {} now: {}.", takes_file.string(), advice)};
    return unavailable(fmt::format("{}: can't be locked: {}.", path, std::strerror(errno)));
  };
  if (auto done = held(store.string() + ".lock", O_RDWR | O_CREAT); !done) return done.error();
  // The file may have a second name, to which another lock file belongs.
  if (std::error_code none; std::filesystem::is_regular_file(store, none))
    if (auto done = held(store.string(), O_RDONLY); !done) return done.error();
  return lock;
}

InstanceLock::~InstanceLock() {
  for (const int descriptor : descriptors_) close(descriptor);
}

}  // namespace undersong::takes
