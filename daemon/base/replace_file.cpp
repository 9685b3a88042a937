#include "daemon/base/replace_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <string>

namespace undersong {

Result<void> replace_file(const std::filesystem::path& file, std::string_view text) {
  const auto fail = [&](int reason) {
    return Error{reason == ENOSPC ? ErrorCode::kExhausted : ErrorCode::kUnavailable,
                 file.string() + " can't be written: " + std::strerror(reason) + "."};
  };
  const std::string part = file.string() + ".part";
  const int out = ::open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (out < 0) return fail(errno);
  int reason = ::fchmod(out, 0600) == 0 ? 0 : errno;  // a part that a crash left may have another mode
  for (std::size_t done = 0; done < text.size() && reason == 0;) {
    const ssize_t some = ::write(out, text.data() + done, text.size() - done);
    if (some < 0 && errno != EINTR) reason = errno;
    if (some > 0) done += static_cast<std::size_t>(some);
  }
  if (reason == 0 && ::fsync(out) != 0) reason = errno;
  if (::close(out) != 0 && reason == 0) reason = errno;
  if (reason == 0 && ::rename(part.c_str(), file.c_str()) != 0) reason = errno;
  if (reason != 0) {
    ::unlink(part.c_str());
    return fail(reason);
  }
  sync_to_disk(file.has_parent_path() ? file.parent_path() : ".");  // so that the new name is on disk too
  return {};
}

bool sync_to_disk(const std::filesystem::path& path) {
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0) return false;
  const bool done = ::fsync(file) == 0;
  ::close(file);
  return done;
}

}  // namespace undersong
