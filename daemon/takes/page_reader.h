// PageReader: the rows of an SQLite file, read from its pages without SQLite. It goes by no index and no
// schema, so it reads what is left of a damaged file: each leaf page tells its rows by itself.
//
//   auto pages = PageReader::open(path);
//   for (std::uint32_t page = 1; page <= pages->count(); ++page)
//     for (const RawRow& row : pages->rows(page)) ...;
//
// Pages that the write-ahead log holds take the place of those in the file. Which table a row belongs to is
// not known; the caller knows it by its shape.
//
// Threads: one at a time.
// Errors: one sentence if the file cannot be opened. A damaged page, row or value is left out.
// Source: "Database File Format", sqlite.org/fileformat2.html, sections 1.6, 1.7, 2.1 and 4.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <unordered_map>
#include <variant>
#include <vector>

#include "daemon/base/result.h"

namespace undersong::takes {

struct RawBlob {
  std::string bytes;
};
// A real number is read as null, because no table holds any.
using RawValue = std::variant<std::monostate, std::int64_t, std::string, RawBlob>;
struct RawRow {
  std::int64_t rowid = 0;
  std::vector<RawValue> values;
};

class PageReader {
 public:
  static constexpr std::size_t kPageSize = 4096;  // as all stores have it

  static Result<PageReader> open(const std::filesystem::path& path);
  PageReader(PageReader&& other) noexcept;
  PageReader& operator=(PageReader&&) = delete;
  ~PageReader();

  std::uint32_t count() const { return count_; }
  // Empty if the page holds no rows of a table, or can't be read. Pages count from 1.
  std::vector<RawRow> rows(std::uint32_t page) const;

 private:
  PageReader() = default;
  void read_log(int log);
  bool read(std::uint32_t page, unsigned char* to) const;
  bool payload(const unsigned char* page, std::size_t at, std::uint64_t size, std::string& to) const;

  int file_ = -1, log_ = -1;
  std::uint32_t count_ = 0;
  std::unordered_map<std::uint32_t, std::int64_t> in_log_;  // page -> where it is in the write-ahead log
};

}  // namespace undersong::takes
