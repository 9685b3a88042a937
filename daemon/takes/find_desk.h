// The find prints of a store as they are searched: the shelf (find_shelf.h), read through a connection of
// its own, so that the store's thread goes on writing while a search runs.
//
//   desk.put({take, print});               // on the store's thread, which never waits for a search
//   FoundPlaces found = desk.find(query);  // on another thread
//
// What changes while a search runs waits, and is there for the next one.
//
// Units: as find_takes.h.
// Threads: any. One search runs at a time; others wait for it. `put`, `erase`, `read` and `forget` never do.
// Errors: `fill` and `find` throw SQLite::Exception, which must not leave this folder.
#pragma once

#include <SQLiteCpp/SQLiteCpp.h>

#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <vector>

#include "daemon/takes/find_takes.h"

namespace undersong::takes {

class FindDesk {
 public:
  // `path`: of the file of takes.
  explicit FindDesk(std::filesystem::path path) : path_(std::move(path)) {}

  void put(FindLines take);
  void erase(TakeId take);
  void read(TakeId take);  // a take that is in the file
  void forget();           // everything; it is read anew

  // Reads up to `most` more find prints, so that the first question need not wait. True once all are there.
  bool fill(std::size_t most);
  FoundPlaces find(const FindQuery& query);

 private:
  struct Change {
    enum class Kind : std::uint8_t { kPut, kErase, kRead, kForget } kind = Kind::kForget;
    TakeId take = 0;
    std::optional<FindLines> lines{};
  };
  void change(Change change);
  void apply();                      // REQUIRES: looking_ is held
  bool fill_more(std::size_t most);  // likewise

  const std::filesystem::path path_;
  std::mutex looking_;                      // held while something is looked for; guards the next three
  std::unique_ptr<SQLite::Database> file_;  // opened on first use
  std::unique_ptr<FindShelf> shelf_;        // read on first use
  std::optional<TakeId> shelved_;           // the last that was read; nullopt: all were
  std::mutex changing_;                     // held for a moment only; guards `waiting_`, `begun_`
  std::vector<Change> waiting_;             // in their order
  bool begun_ = false;                      // a shelf is being filled, or is full
};

}  // namespace undersong::takes
