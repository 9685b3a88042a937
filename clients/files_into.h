// Where the files of `undersong import` go: into a file of takes (clients/offline), or to the daemon that
// runs (clients/terminal).
//
// Units: milliseconds since 1970, UTC.
// Threads: the main thread only.
// Errors: `reason`, one sentence.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

namespace undersong {

struct FileBrought {
  enum class Outcome : std::uint8_t {
    kBrought,
    kKnown,    // its notes are in `take` already
    kRefused,  // the file is to blame
    kNoPlace,  // no further file can be brought either
  };
  Outcome outcome = Outcome::kRefused;
  std::uint64_t take = 0;
  std::int64_t begin_utc_ms = 0;
  std::string reason;

  static FileBrought refused(std::string reason) { return {Outcome::kRefused, 0, 0, std::move(reason)}; }
  static FileBrought no_place(std::string reason) { return {Outcome::kNoPlace, 0, 0, std::move(reason)}; }
};

class FilesInto {
 public:
  static constexpr std::uintmax_t kLargestFile = 16u << 20;  // bytes

  virtual ~FilesInto() = default;
  // Does a part of what must be done before the first file, so that it can be stopped. True when that is all.
  virtual bool ready() { return true; }
  virtual FileBrought bring(const std::filesystem::path& file) = 0;
  // Call it after the last file. Returns what is wrong, if not all of it is kept.
  virtual std::optional<std::string> close() { return std::nullopt; }
};

// When the file was changed last; 0 if that can't be known.
inline std::int64_t changed_utc_ms(const std::filesystem::path& file) {
  std::error_code failed;
  const auto changed = std::filesystem::last_write_time(file, failed);
  if (failed) return 0;
  const auto since = std::chrono::file_clock::to_sys(changed).time_since_epoch();
  return std::chrono::duration_cast<std::chrono::milliseconds>(since).count();
}

}  // namespace undersong
