// IdiomKeeper keeps the player's own idiom at hand while the program runs. It counts the takes that an older
// version kept, some at a time, and adds everything up anew whenever a take has ended, was deleted, restored
// or analysed again, or a mark was taken back. The store does the work on its own thread.
//
//   IdiomKeeper keeper({store, use, say});
//   keeper.begin();
//   keeper.kept(lines);   // lines that are now on disk
//
// Units: milliseconds since 1970, UTC.
// Threads: the owner's thread (in the daemon `io`); the store's answers must arrive there.
// Errors: if the store cannot be read, what was known stays, and the next change tries again. Damaged rows
// are reported in one sentence.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/takes/store.h"

namespace undersong::takes {

class IdiomKeeper {
 public:
  struct World {
    Store& store;  // outlives this object
    // Called on the owner's thread when now() has changed.
    std::function<void(const OwnIdiom&)> changed;
    // Called on the owner's thread with a sentence for the log.
    std::function<void(const std::string&)> say;
  };
  explicit IdiomKeeper(World world) : world_(std::move(world)) {}
  static constexpr std::size_t kAtOnce = 20;  // takes counted in one piece of work; about 20 ms

  void begin() { load(); }
  void kept(const std::vector<Line>& lines);
  // Takes were analysed again.
  void heard_again() { load(); }
  const OwnIdiom& now() const { return now_; }
  // Forgets it up to now. Answers what is left.
  void erase(std::int64_t utc_ms, Store::Answer<OwnIdiom> answer);

 private:
  void load();
  void count();
  void add_up();
  void take(OwnIdiom fresh);

  const World world_;
  OwnIdiom now_;
  bool busy_ = false, again_ = false;
  std::uint64_t damaged_told_ = 0;
  const std::shared_ptr<int> alive_ = std::make_shared<int>();  // answers that come after the end are ignored
};

}  // namespace undersong::takes
