// Copies of a file of takes, made while it is in use.
//
//   auto size = back_up(store, folder / "takes-2026-11-27.sqlite", {.stop = &stop});
//
// The copy is one file without a write-ahead log. It holds the store as it was when the copy was begun, and
// it is checked before it takes its name, so a file with that name is always whole.
//
// Units: bytes; days in local time.
// Threads: any. A copy takes as long as the disk needs; writing to the store goes on meanwhile.
// Errors: one sentence. kConflict if a file has the name already; kExhausted if the disk is full.
// Source: SQLite's online backup API, sqlite.org/backup.html.
#pragma once

#include <atomic>
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/base/result.h"

namespace undersong::takes {

struct BackupPace {
  const std::atomic<bool>* stop = nullptr;  // gives up when it becomes true
  std::chrono::milliseconds pause{0};       // after each 256 pages, so that other programs can use the disk
  std::chrono::minutes most{15};
};
// The size of the copy.
Result<std::uintmax_t> back_up(const std::filesystem::path& store, const std::filesystem::path& to,
                               const BackupPace& pace = {});

// nullopt if the file is a whole store of this layout or an earlier one, else what is wrong with it.
std::optional<Error> not_a_store(const std::filesystem::path& file);

// The rolling backups of a store in a folder: one for each day of use.
class DailyBackups {
 public:
  // keep: how many; 0: none are made.
  DailyBackups(std::filesystem::path store, std::filesystem::path folder, std::size_t keep)
      : store_(std::move(store)), folder_(std::move(folder)), keep_(keep) {}
  // Whether there is none for the day yet.
  bool due(std::chrono::system_clock::time_point now) const;
  // Makes that of today and removes the oldest beyond `keep`, except if the store is damaged: then an older
  // one may be what is needed.
  Result<std::filesystem::path> make(std::chrono::system_clock::time_point now, const BackupPace& pace,
                                     bool remove_oldest = true) const;
  // When the newest was made, in milliseconds since 1970; nullopt if there is none.
  std::optional<std::int64_t> newest_utc_ms() const;

 private:
  std::filesystem::path of_day(std::chrono::system_clock::time_point now) const;
  std::vector<std::filesystem::path> all() const;

  std::filesystem::path store_, folder_;
  std::size_t keep_;
};

}  // namespace undersong::takes
