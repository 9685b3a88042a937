#include "daemon/app/kept_settings.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <iterator>

namespace undersong::app {

std::filesystem::path kept_settings_file(const std::filesystem::path& takes_file) {
  return takes_file.string() + ".settings.toml";
}

std::string kept_text(const live::Settings& configured, const live::Settings& now) {
  const std::string text = settings_text(configured, now);
  if (text.empty()) return {};
  return "# Settings that were changed while Undersong ran. They count before the configuration; `undersong "
         "settings reset` ends that.\n" +
         text;
}

Result<live::Settings> with_kept(const live::Settings& configured, std::string_view text,
                                 std::string_view name) {
  Config base;
  base.stage.settings = configured;
  auto read = parse_config(text, name, base);
  if (!read) return read.error();
  return read->stage.settings;  // other options that the text may contain are ignored
}

Result<live::Settings> read_kept(const live::Settings& configured, const std::filesystem::path& file) {
  std::error_code error;
  if (!std::filesystem::exists(file, error)) return configured;
  std::ifstream in(file, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  auto read = in.bad() || !in.is_open()
                  ? Result<live::Settings>(unavailable(fmt::format("{} can't be read.", file.string())))
                  : with_kept(configured, text, file.string());
  if (read) return read;
  const std::filesystem::path aside = file.string() + ".damaged";
  std::filesystem::rename(file, aside, error);
  return invalid_input(
      fmt::format("{} The settings are those of the configuration{}.", read.error().message,
                  error ? std::string() : fmt::format("; the file is kept as {}", aside.string())));
}

Result<void> write_kept(const std::string& text, const std::filesystem::path& file) {
  const auto fail = [&](int reason) {
    return Error{reason == ENOSPC ? ErrorCode::kExhausted : ErrorCode::kUnavailable,
                 fmt::format("{} can't be written: {}. A restart will bring back the earlier settings.",
                             file.string(), std::strerror(reason))};
  };
  if (text.empty()) {
    if (::unlink(file.c_str()) != 0 && errno != ENOENT) return fail(errno);
    return {};
  }
  const std::string part = file.string() + ".part";
  const int out = ::open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0600);
  if (out < 0) return fail(errno);
  int reason = 0;
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
  if (const int folder = ::open(file.parent_path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
      folder >= 0) {
    ::fsync(folder);  // so that the new name is on disk too
    ::close(folder);
  }
  return {};
}

}  // namespace undersong::app
