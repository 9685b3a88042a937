#include "daemon/takes/store_care.h"

#include <linux/ioprio.h>
#include <pthread.h>
#include <sqlite3.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <algorithm>
#include <set>

#include "daemon/base/caught.h"
#include "daemon/takes/damaged_store.h"

namespace undersong::takes {
namespace {

constexpr std::size_t kLinesAtOnce = 500;
constexpr auto kPause = std::chrono::milliseconds(5);
constexpr std::size_t kMostNamed = 5;

std::string count_of(std::uint64_t n, const char* what) {
  return std::to_string(n) + " " + what + (n == 1 ? "" : "s");
}

std::string listed(const std::set<TakeId>& takes) {
  std::string out;
  std::size_t named = 0;
  for (const TakeId take : takes) {
    if (named == kMostNamed) return out + " and others";
    out += (named++ == 0 ? "" : ", ") + std::to_string(take);
  }
  return out;
}

}  // namespace

StoreCare::StoreCare(Options options, World world)
    : options_(std::move(options)),
      world_(std::move(world)),
      daily_(options_.store, options_.backups, options_.keep_backups) {
  thread_ = std::thread([this] { run(); });
}

void StoreCare::nudge(bool damaged) {
  {
    const std::lock_guard lock(mutex_);
    nudged_ = true;
    damaged_ = damaged_ || damaged;
  }
  changed_.notify_one();
}

bool StoreCare::ask(std::function<void(const std::atomic<bool>&)> work) {
  {
    const std::lock_guard lock(mutex_);
    if (stopping_) return false;
    asked_.push_back(std::move(work));
  }
  changed_.notify_one();
  return true;
}

void StoreCare::stop() {
  {
    const std::lock_guard lock(mutex_);
    stopping_ = true;
  }
  changed_.notify_one();
  if (thread_.joinable()) thread_.join();
}

void StoreCare::run() {
  pthread_setname_np(pthread_self(), "take-care");
  setpriority(PRIO_PROCESS, static_cast<id_t>(gettid()), 15);  // everything else comes first
  (void)syscall(SYS_ioprio_set, IOPRIO_WHO_PROCESS, 0, IOPRIO_PRIO_VALUE(IOPRIO_CLASS_IDLE, 0));
  world_.backed_up(daily_.newest_utc_ms());
  std::unique_lock lock(mutex_);
  for (nudged_ = true;;) {
    changed_.wait(lock, [this] { return stopping_ || nudged_ || !asked_.empty(); });
    auto asked = std::move(asked_);
    asked_.clear();
    const bool nudged = std::exchange(nudged_, false);
    if (std::exchange(damaged_, false)) must_set_aside_ = true;
    lock.unlock();
    for (const auto& each : asked) each(stopping_);
    asked.clear();
    if (nudged && !stopping_) try {
        work();
      } catch (...) {
        if (!stopping_) world_.remark(caught("the takes were checked").message);
      }
    lock.lock();
    if (stopping_ && asked_.empty()) return;
  }
}

void StoreCare::work() {
  if (must_set_aside_ && world_.set_aside()) {
    must_set_aside_ = checked_ = false;
    const std::lock_guard lock(mutex_);
    damaged_ = false;  // that was the file before
  }
  if (must_set_aside_) return;  // when the take has ended
  rescue();
  if (options_.check && !std::exchange(checked_, true)) check();
  if (must_set_aside_) return nudge();
  back_up_today();
}

void StoreCare::rescue() {
  std::vector<std::filesystem::path> files;
  world_.with_database([&](Database& database) { files = database.rescues(); });
  for (const auto& file : files)
    if (!stopping_) rescue_from(file);
}

void StoreCare::rescue_from(const std::filesystem::path& file) {
  auto damaged = DamagedStore::open(file);
  if (!damaged) {
    world_.remark(damaged.error().message + " Nothing can be read back from it.");
    world_.with_database([&](Database& database) { database.end_rescue(file); });
    return;
  }
  std::map<TakeId, Summary> known;
  std::vector<Line> lines;
  std::uint64_t read = 0, takes = 0;
  LineNumber first = 0, last = 0;
  const auto put = [&] {
    if (lines.empty()) return true;
    const bool done = world_.with_database([&](Database& database) { database.put_rescued(lines); });
    lines.clear();
    std::this_thread::sleep_for(kPause);
    return done;
  };
  while (auto piece = damaged->next()) {
    if (stopping_) return;  // the next start begins again
    for (Line& line : piece->lines) {
      ++read;
      first = first == 0 ? line.number : std::min(first, line.number);
      last = std::max(last, line.number);
      lines.push_back(std::move(line));
    }
    for (Summary& take : piece->takes) known.insert_or_assign(take.take, std::move(take));
    if (!piece->about.empty() && !world_.with_database([&](Database& database) {
          for (const auto& [name, value] : piece->about) database.put_rescued_about(name, value);
        }))
      return;
    if (lines.size() >= kLinesAtOnce && !put()) return;
  }
  if (!put()) return;
  for (bool more = true; more && !stopping_;) {
    const bool done = world_.with_database([&](Database& database) {
      const auto next = database.unsettled(1);
      more = !next.empty();
      if (!more) return;
      const auto row = known.find(next.front());
      database.settle(next.front(), true, row == known.end() ? nullptr : &row->second);
      ++takes;
    });
    if (!done) return;
    std::this_thread::sleep_for(kPause);
  }
  if (stopping_ || !world_.with_database([&](Database& database) { database.end_rescue(file); })) return;
  if (read == 0) return world_.remark("Nothing could be read back from " + file.string() + "; it is kept.");
  const std::uint64_t missing = last - first + 1 > read ? last - first + 1 - read : 0;
  world_.remark(
      "From the damaged file, " + count_of(read, "line") + " of " + count_of(takes, "take") +
      " have been read back" +
      (missing == 0 ? std::string() : "; about " + count_of(missing, "line") + " could not be read") +
      ". It is kept as " + file.string() + ".");
}

StoreCare::Pages StoreCare::pages(std::string& found) {
  try {
    SQLite::Database file(options_.store.string(), SQLite::OPEN_READONLY, 1000);
    sqlite3_progress_handler(
        file.getHandle(), 10'000,
        [](void* stopping) { return static_cast<std::atomic<bool>*>(stopping)->load() ? 1 : 0; }, &stopping_);
    Pages out = Pages::kSound;
    SQLite::Statement check(file, "PRAGMA integrity_check(100)");
    while (check.executeStep()) {
      const std::string said = check.getColumn(0).getString();
      if (said == "ok") continue;
      if (found.empty()) found = said;
      const bool index = said.find("missing from index") != std::string::npos ||
                         said.find("wrong # of entries in index") != std::string::npos ||
                         said.find("non-unique entry in index") != std::string::npos;
      if (!index)
        out = Pages::kDamaged;
      else if (out == Pages::kSound)
        out = Pages::kIndexes;
    }
    return out;
  } catch (const SQLite::Exception& e) {
    if (kind_of(e) == Trouble::kDamaged) return Pages::kDamaged;
    return Pages::kUnknown;  // another program has it, or it is stopping
  }
}

void StoreCare::check() {
  std::string found;
  Pages state = pages(found);
  if (state == Pages::kIndexes) {
    if (!world_.with_database([](Database& database) { database.make_indexes(); })) return;
    found.clear();
    state = pages(found);
    if (state == Pages::kSound) world_.remark("An index of the takes was damaged and has been made again.");
  }
  if (state == Pages::kIndexes || state == Pages::kDamaged) {
    world_.damage(
        "The file of takes " + options_.store.string() +
        " is damaged. It will be set aside when no take is being played, and what can be read of it "
        "will be read into a new one.");
    must_set_aside_ = true;
    return;
  }
  if (state == Pages::kUnknown) return;
  std::set<TakeId> of, mended;
  std::uint64_t wrong = 0;
  std::optional<TakeId> take = TakeId{0};
  while (take && !stopping_) {
    const TakeId now = *take;
    const bool done = world_.with_database([&](Database& database) {
      const std::uint64_t before = database.damaged_lines();
      if (database.mend_row(now)) mended.insert(now);
      if (database.damaged_lines() != before) {
        wrong += database.damaged_lines() - before;
        of.insert(now);
      }
      take = database.next_take_with_lines(now);
    });
    if (!done) return;
    std::this_thread::sleep_for(kPause);
  }
  int empty = 0;
  if (stopping_ || !world_.with_database([&](Database& database) { empty = database.remove_empty_rows(); }))
    return;
  if (empty != 0)
    world_.remark("The list of takes named " + count_of(static_cast<std::uint64_t>(empty), "take") +
                  " that the log does not have.");
  if (!mended.empty())
    world_.remark("What the list of takes says of " + std::string(mended.size() == 1 ? "take " : "takes ") +
                  listed(mended) + " was damaged and has been made again from the log.");
  std::string said;
  if (wrong != 0) {
    of.erase(0);
    said = count_of(wrong, "line") + " of the takes " + (wrong == 1 ? "is" : "are") +
           " damaged and left out" +
           (of.empty() ? "." : ": take " + listed(of) + ". `undersong restore FILE` brings back a backup.");
  }
  keep_all_backups_ = wrong != 0;
  world_.damage(said);
  world_.checked(std::chrono::duration_cast<std::chrono::milliseconds>(
                     std::chrono::system_clock::now().time_since_epoch())
                     .count());
}

void StoreCare::back_up_today() {
  const auto now = std::chrono::system_clock::now();
  if (stopping_ || !daily_.due(now)) return;
  const auto made = daily_.make(now, {.stop = &stopping_, .pause = kPause}, !keep_all_backups_);
  if (made) {
    said_no_backup_ = false;
    world_.backed_up(daily_.newest_utc_ms());
  } else if (!stopping_ && !std::exchange(said_no_backup_, true)) {
    world_.remark("Today's backup of the takes could not be made. " + made.error().message);
  }
}

}  // namespace undersong::takes
