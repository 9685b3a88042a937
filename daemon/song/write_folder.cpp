// Writes the folder of a hand-over to the disk.
#include <fmt/format.h>

#include <cerrno>
#include <cstring>
#include <fstream>

#include "daemon/base/replace_file.h"
#include "daemon/song/hand_over.h"

namespace undersong::song {
namespace fs = std::filesystem;

Result<void> write_folder(const Folder& folder, const fs::path& directory, bool force) {
  std::error_code error;
  const auto fail = [&](const fs::path& path, const std::string& why) -> Result<void> {
    const bool full =
        errno == ENOSPC || error == std::errc::no_space_on_device;  // before anything else sets it
    for (const File& file : folder.files) {
      std::error_code ignored;
      fs::remove(directory / (file.name + ".part"), ignored);
    }
    return Error{full ? ErrorCode::kExhausted : ErrorCode::kUnavailable,
                 fmt::format("{} can't be written: {}.", path.string(), why)};
  };
  const fs::file_status status = fs::status(directory, error);
  if (fs::exists(status) && !fs::is_directory(status))
    return invalid_input(fmt::format("{} is a file, not a folder.", directory.string()));
  if (!fs::exists(status)) {
    fs::create_directories(directory, error);
    if (error) return fail(directory, error.message());
  } else {
    const bool empty = fs::is_empty(directory, error);
    if (error) return fail(directory, error.message());
    if (!empty && !force)
      return invalid_input(
          fmt::format("{} is not empty; --replace writes into it and replaces files of the same names.",
                      directory.string()));
  }
  for (const File& file : folder.files) {
    const fs::path part = directory / (file.name + ".part");
    errno = 0;
    std::ofstream out(part, std::ios::binary | std::ios::trunc);
    out.write(reinterpret_cast<const char*>(file.bytes.data()),
              static_cast<std::streamsize>(file.bytes.size()));
    out.close();
    if (!out || !sync_to_disk(part))
      return fail(directory / file.name, std::strerror(errno != 0 ? errno : EIO));
  }
  for (const File& file : folder.files) {
    fs::rename(directory / (file.name + ".part"), directory / file.name, error);
    if (error) return fail(directory / file.name, error.message());
  }
  sync_to_disk(directory);
  return {};
}

}  // namespace undersong::song
