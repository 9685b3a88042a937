#include "daemon/base/private_folder.h"

#include <sys/stat.h>

#include <cerrno>
#include <cstring>
#include <system_error>
#include <vector>

namespace undersong {

Result<void> make_private_folder(const std::filesystem::path& folder) {
  std::vector<std::filesystem::path> missing;
  std::error_code error;
  for (auto path = folder; !path.empty() && !std::filesystem::exists(path, error);
       path = path.parent_path()) {
    if (error) break;  // a parent folder cannot be entered; mkdir below reports why
    if (path.has_filename()) missing.push_back(path);
    if (path == path.parent_path()) break;
  }
  while (!missing.empty()) {
    const auto path = std::move(missing.back());
    missing.pop_back();
    if (::mkdir(path.c_str(), 0700) != 0 && errno != EEXIST)
      return unavailable("The folder " + path.string() + " can't be made: " + std::strerror(errno) + ".");
  }
  if (!std::filesystem::is_directory(folder, error))
    return unavailable(folder.string() + " is not a folder" + (error ? ": " + error.message() + "." : "."));
  return {};
}

}  // namespace undersong
