#include "daemon/song/sketch_folder.h"
#include "daemon/base/private_folder.h"
#include "daemon/base/replace_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <sstream>

namespace undersong::song {

namespace fs = std::filesystem;

bool good_sketch_name(std::string_view name) {
  if (name.empty() || name.size() > 64 || name.front() == ' ' || name.back() == ' ') return false;
  return std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == ' ' ||
           c == '-' || c == '_';
  });
}

Result<fs::path> SketchFolder::file_of(const std::string& name) const {
  if (!good_sketch_name(name))
    return invalid_input("a song's name is 1 to 64 letters, digits, spaces, - and _");
  return folder_ / (name + ".toml");
}

Result<std::vector<std::string>> SketchFolder::names() const {
  std::vector<std::string> out;
  std::error_code error;
  if (!fs::exists(folder_, error)) return out;
  for (fs::directory_iterator it(folder_, error), end; !error && it != end; it.increment(error)) {
    const std::string name = it->path().stem().string();
    if (it->path().extension() == ".toml" && good_sketch_name(name)) out.push_back(name);
  }
  if (error) return unavailable(fmt::format("{} can't be read: {}", folder_.string(), error.message()));
  std::sort(out.begin(), out.end());
  return out;
}

Result<std::string> read_sketch_file(const fs::path& file) {
  std::error_code error;
  if (fs::is_directory(file, error))
    return invalid_input(fmt::format("{} is a folder, not a song", file.string()));
  std::ifstream in(file, std::ios::binary);
  if (!in) return not_found(fmt::format("{} can't be opened: {}", file.string(), std::strerror(errno)));
  std::string text(kLargestSketch + 1, '\0');
  in.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(in.gcount()));
  if (text.size() > kLargestSketch)
    return invalid_input(fmt::format("{} is larger than a song can be (1 MB)", file.string()));
  return text;
}

namespace {}  // namespace

Result<void> write_sketch_file(const fs::path& file, const std::string& text) {
  if (text.size() > kLargestSketch) return invalid_input("the song is larger than 1 MB");
  return replace_file(file, text);
}

Result<std::string> SketchFolder::read(const std::string& name) const {
  const auto file = file_of(name);
  if (!file) return file.error();
  std::error_code error;
  if (!fs::exists(*file, error)) return not_found(fmt::format("there is no song {}", name));
  return read_sketch_file(*file);
}

Result<void> SketchFolder::write(const std::string& name, const std::string& text,
                                 const std::optional<std::string>& revision) {
  const auto file = file_of(name);
  if (!file) return file.error();
  if (revision) {
    const auto now = read(name);
    if (!now || revision_of(*now) != *revision)
      return Error{ErrorCode::kConflict, fmt::format("the song {} has changed since it was read", name)};
  }
  if (auto made = make_private_folder(folder_); !made) return made;
  return write_sketch_file(*file, text);
}

Result<void> SketchFolder::remove(const std::string& name) {
  const auto file = file_of(name);
  if (!file) return file.error();
  std::error_code error;
  if (!fs::exists(*file, error)) return not_found(fmt::format("there is no song {}", name));
  fs::path aside = file->string() + ".deleted";
  for (int n = 2; fs::exists(aside, error); ++n) aside = file->string() + ".deleted-" + std::to_string(n);
  fs::rename(*file, aside, error);
  if (error) return unavailable(fmt::format("{} can't be renamed: {}", file->string(), error.message()));
  return {};
}

Result<fs::path> SketchFolder::source(const std::string& file) const {
  const fs::path path(file);
  if (path.is_absolute() ||
      std::any_of(path.begin(), path.end(), [](const fs::path& step) { return step == ".."; }))
    return invalid_input(
        fmt::format("{} lies outside the folder of the songs; put a copy there, or name a take", file));
  return folder_ / path;
}

std::string revision_of(std::string_view text) {
  std::uint64_t hash = 14695981039346656037u;
  for (const char c : text) hash = (hash ^ static_cast<unsigned char>(c)) * 1099511628211u;
  return fmt::format("{:016x}", hash);
}

}  // namespace undersong::song
