#include "clients/terminal/handed_files.h"

#include <fmt/format.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

#include "protocol/base64.h"

namespace undersong::terminal {

namespace fs = std::filesystem;
using protocol::Problem;

std::optional<Problem> unfit_for_files(const std::string& directory, bool replace) {
  std::error_code error;
  if (!fs::exists(directory, error)) return std::nullopt;
  if (!fs::is_directory(directory, error))
    return Problem{fmt::format("{} is a file, not a folder.", directory)};
  if (!fs::is_empty(directory, error) && !replace)
    return Problem{
        fmt::format("{} is not empty. With --replace, files are written into it and may replace files with "
                    "the same name.",
                    directory)};
  return std::nullopt;
}

std::optional<Problem> write_files(const protocol::HandedOver& made, const std::string& directory) {
  std::error_code error;
  fs::create_directories(directory, error);
  if (error) return Problem{fmt::format("{} cannot be created: {}.", directory, error.message())};
  for (const auto& file : made.files) {
    const auto bytes = protocol::from_base64(file.base64);
    const fs::path name = fs::path(file.name).filename();
    if (!bytes || name.empty()) return Problem{"The daemon sent a file that cannot be read."};
    const fs::path path = fs::path(directory) / name;
    std::ofstream out(path, std::ios::binary | std::ios::trunc);
    out.write(reinterpret_cast<const char*>(bytes->data()), static_cast<std::streamsize>(bytes->size()));
    out.close();
    if (!out) return Problem{fmt::format("{} cannot be written: {}.", path.string(), std::strerror(errno))};
    fmt::print("{}  {} bytes\n", path.string(), bytes->size());
  }
  for (const auto& remark : made.remarks) fmt::print("{}\n", remark);
  return std::nullopt;
}

}  // namespace undersong::terminal
