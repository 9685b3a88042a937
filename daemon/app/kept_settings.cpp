#include "daemon/app/kept_settings.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <iterator>

#include "daemon/base/replace_file.h"

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
  const auto fail = [](Error error) {
    error.message += " A restart will bring back the earlier settings.";
    return error;
  };
  if (text.empty()) {
    if (::unlink(file.c_str()) != 0 && errno != ENOENT)
      return fail(unavailable(fmt::format("{} can't be removed: {}.", file.string(), std::strerror(errno))));
    return {};
  }
  if (const auto written = replace_file(file, text); !written) return fail(written.error());
  return {};
}

}  // namespace undersong::app
