// Reads the find prints of a store: for the store itself, and for a program that only looks something up in a
// file of takes, which a daemon may be writing to meanwhile.
//
//   auto file = FindFile::open(path);
//   if (file) auto found = file->find(query);
//
// Units: as find_takes.h.
// Threads: one at a time for each SQLite connection.
// Errors: FindFile returns one sentence. The functions throw SQLite::Exception, which must not leave
// this folder.
#pragma once

#include <SQLiteCpp/SQLiteCpp.h>

#include <filesystem>
#include <memory>
#include <optional>

#include "daemon/base/result.h"
#include "daemon/takes/find_takes.h"

namespace undersong::takes {

// All takes that are kept, ended and not deleted, and have a print of this version.
std::unique_ptr<FindShelf> read_find_shelf(SQLite::Database& file);
// Puts up to `most` of them on the shelf, those after `after`. The last that was read; 0: there are no more.
TakeId fill_find_shelf(SQLite::Database& file, FindShelf& shelf, TakeId after, std::size_t most);
FoundPlaces find_on_shelf(SQLite::Database& file, const FindShelf& shelf, const FindQuery& query,
                          std::optional<FindEffort> effort = {});
// Ended takes that are not deleted and have no print of this version.
std::uint64_t count_unprinted(SQLite::Database& file);

// Opens the file for reading only.
class FindFile {
 public:
  static Result<FindFile> open(const std::filesystem::path& path);
  Result<FoundPlaces> find(const FindQuery& query);

 private:
  std::filesystem::path path_;
  std::unique_ptr<SQLite::Database> file_;
  std::unique_ptr<FindShelf> shelf_;
};

}  // namespace undersong::takes
