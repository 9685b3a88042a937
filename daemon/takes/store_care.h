// StoreCare: what a store needs besides reading and writing, on a thread of the lowest priority that nobody
// waits for: it is checked, what can be read of a damaged file is read back, and a backup is made on each day
// of use.
//
// The check compares everything with something: SQLite's pages and indexes with each other, each line with
// its checksum, and each row in the list of takes with the lines of that take. A wrong row is made again.
// A file with damaged pages is set aside, when no take is being played, and a new one is begun. Then its
// lines are read back (damaged_store.h). If the daemon is killed meanwhile, the next start goes on.
//
// Threads: `nudge`, `ask` and `stop` from any thread; the rest runs on its own thread, named "take-care".
// Errors: sentences for World::remark and World::damage.
// Source: sqlite.org/pragma.html for integrity_check.
#pragma once

#include <atomic>
#include <condition_variable>
#include <deque>
#include <filesystem>
#include <functional>
#include <map>
#include <mutex>
#include <string>
#include <thread>

#include "daemon/takes/backup.h"
#include "daemon/takes/database.h"

namespace undersong::takes {

class StoreCare {
 public:
  struct World {
    // Runs the work on the store's thread and waits until it has run. False if it did not: the store cannot
    // be used now, or is closing. Exceptions of SQLite are the store's to report.
    std::function<bool(std::function<void(Database&)>)> with_database;
    // Sets the file aside and begins a new one. False while a take is being played, or the store is closing.
    std::function<bool()> set_aside;
    std::function<void(const std::string&)> remark;  // what was done, for people
    std::function<void(const std::string&)> damage;  // what is wrong now; "" if nothing
    std::function<void(std::int64_t utc_ms)> checked;
    std::function<void(std::optional<std::int64_t> utc_ms)> backed_up;
  };
  struct Options {
    std::filesystem::path store;
    bool check = false;
    std::filesystem::path backups;  // folder
    std::size_t keep_backups = 0;
  };

  StoreCare(Options options, World world);
  ~StoreCare() { stop(); }
  StoreCare(const StoreCare&) = delete;
  StoreCare& operator=(const StoreCare&) = delete;

  // A take has ended, or a file was set aside. `damaged`: SQLite met damage.
  void nudge(bool damaged = false);
  // Runs the work on this thread. It should give up when `stopping` becomes true. False when it is stopping.
  bool ask(std::function<void(const std::atomic<bool>& stopping)> work);
  void stop();

 private:
  enum class Pages : std::uint8_t { kSound, kIndexes, kDamaged, kUnknown };
  void run();
  void work();
  void rescue();
  void rescue_from(const std::filesystem::path& file);
  void check();
  Pages pages(std::string& found);
  void back_up_today();

  const Options options_;
  const World world_;
  const DailyBackups daily_;
  std::atomic<bool> stopping_{false};
  std::mutex mutex_;  // guards what follows, up to the thread
  std::condition_variable changed_;
  std::deque<std::function<void(const std::atomic<bool>&)>> asked_;
  bool nudged_ = false, damaged_ = false;
  std::thread thread_;
  // Of its own thread.
  bool checked_ = false, must_set_aside_ = false, said_no_backup_ = false, keep_all_backups_ = false;
};

}  // namespace undersong::takes
