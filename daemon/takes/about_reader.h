// Reads what is kept of takes at a glance (take_about.h): for the store, and for programs that only read the
// file.
//
//   AboutReader reader(file);
//   if (auto content = reader.content(12)) ...
//
// Units: as take_about.h. Threads: one at a time for each SQLite connection.
// Errors: throws SQLite::Exception, which must not leave this folder. A take that has no row, or a damaged
// one, has nothing.
#pragma once

#include <SQLiteCpp/SQLiteCpp.h>

#include <optional>

#include "daemon/takes/take_about.h"

namespace undersong::takes {

class AboutReader {
 public:
  explicit AboutReader(SQLite::Database& file);
  // With the last take before it that has the same loop.
  std::optional<TakeContent> content(TakeId take);
  bool has(TakeId take);
  // Everything else too, but not that.
  std::optional<TakeAbout> about(TakeId take);

 private:
  SQLite::Statement name_, picture_, again_;
};

}  // namespace undersong::takes
