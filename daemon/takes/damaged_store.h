// DamagedStore: what can still be read of a damaged file of takes: the lines of the log, and what the player
// called the takes. Everything else in a store was made from these and can be made again.
//
//   auto damaged = DamagedStore::open(path);
//   const auto numbers = damaged->highest();      // the new file goes on behind them
//   while (auto piece = damaged->next()) ...;     // a page at a time
//
// A line with a checksum is taken if that is right. An older line has none; it is taken if it looks like a
// line and its number is near those around it.
//
// Threads: one at a time. Errors: one sentence if the file can't be opened.
// Source: none needed.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "daemon/takes/line_check.h"
#include "daemon/takes/page_reader.h"
#include "daemon/takes/search.h"

namespace undersong::takes {

class DamagedStore {
 public:
  struct Highest {
    LineNumber line = 0;
    TakeId take = 0;
  };
  struct Piece {
    std::vector<Line> lines;
    std::vector<Summary> takes;  // rows of the list of takes
    std::vector<std::pair<std::string, std::string>> about;
    std::uint64_t damaged = 0;  // lines that were there and could not be taken
  };

  static Result<DamagedStore> open(const std::filesystem::path& path);
  // Reads the whole file.
  Highest highest() const;
  // What the next page holds, often nothing; nullopt at the end.
  std::optional<Piece> next();

 private:
  explicit DamagedStore(PageReader pages) : pages_(std::move(pages)) {}
  Piece piece(std::uint32_t page) const;

  PageReader pages_;
  std::uint32_t at_ = 0;
};

}  // namespace undersong::takes
